"""Addresses of people, organisations and the laboratory itself."""

from django.urls import path

from labsite.people.web import laboratory, organisations, step_up, tokens, users

app_name = "people"
urlpatterns = [
    path("", users.people, name="people"),
    path("new/", users.create, name="create"),
    path("<int:pk>/", users.detail, name="detail"),
    path("<int:pk>/roles/", users.edit_roles, name="edit"),
    path("<int:pk>/switch/", users.switch, name="switch"),
    path("<int:pk>/tokens/<int:token_pk>/revoke/", users.revoke, name="revoke-token"),
    path("organisations/", organisations.organisations, name="organisations"),
    path("organisations/new/", organisations.create, name="create-organisation"),
    path("organisations/<int:pk>/", organisations.edit, name="edit-organisation"),
    path("laboratory/", laboratory.laboratory, name="laboratory"),
    path("laboratory/logo/", laboratory.logo, name="logo"),
    path("tokens/", tokens.tokens, name="tokens"),
    path("tokens/<int:token_pk>/revoke/", tokens.revoke, name="revoke-own-token"),
    path("confirm/", step_up.confirm, name="step-up"),
]
