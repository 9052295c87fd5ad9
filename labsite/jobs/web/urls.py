"""Addresses of jobs."""

from __future__ import annotations

from django.urls import path

from labsite.jobs.web import views

app_name = "jobs"
urlpatterns = [
    path("<uuid:pk>/", views.progress, name="progress"),
    path("<uuid:pk>/retry/", views.retry, name="retry"),
]
