"""People: organisations, users, roles, sign-in."""

from django.apps import AppConfig


class PeopleConfig(AppConfig):
    """The app of people."""

    name = "labsite.people"
    label = "people"
