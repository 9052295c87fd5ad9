"""Schedules: orders, units, plans and bays: what must be tested, to what level, where and when."""

from django.apps import AppConfig


class SchedulesConfig(AppConfig):
    """The app of orders and plans."""

    name = "schedules"
