"""Addresses of the look: health and gallery."""

from django.urls import path

from labsite.ui.web import views

app_name = "ui"

urlpatterns = [
    path("health/", views.health, name="health"),
    path("gallery/", views.gallery, name="gallery"),
    path("gallery/chart/", views.gallery_chart, name="gallery_chart"),
]
