"""Equipment: instruments, calibrations, measuring systems."""

from django.apps import AppConfig


class EquipmentConfig(AppConfig):
    """The app of instruments."""

    name = "equipment"
