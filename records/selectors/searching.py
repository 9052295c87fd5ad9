"""One box that finds a serial, an order, a unit, a run, a certificate or an instrument."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from equipment.models import Instrument
from records.models import Certificate, Run
from schedules.models import Order, Unit

MOST = 20


@dataclass(frozen=True)
class Found:
    """What the search found, each list of at most `MOST`, all of it visible to who asked."""

    words: str
    units: list[Unit]
    orders: list[Order]
    runs: list[Run]
    certificates: list[Certificate]
    instruments: list[Instrument]

    @property
    def count(self) -> int:
        """Return how many things were found."""
        runs = len(self.runs) + len(self.certificates)
        return runs + len(self.units) + len(self.orders) + len(self.instruments)


def find(viewer: Any, words: str) -> Found:
    """Return what carries these words in its number, serial, reference or name."""
    text = " ".join(words.replace("\x00", " ").split())[:100]
    if not text:
        return Found("", [], [], [], [], [])
    units = Unit.objects.visible_to(viewer).for_list()
    orders = Order.objects.visible_to(viewer).select_related("customer")
    runs = Run.objects.visible_to(viewer).for_list()
    certificates = Certificate.objects.visible_to(viewer).for_list()
    return Found(
        text,
        list(units.filter(Q(serial__icontains=text) | Q(number__icontains=text) | Q(design__icontains=text))[:MOST]),
        list(
            orders.filter(
                Q(number__icontains=text) | Q(purchase_reference__icontains=text) | Q(customer__name__icontains=text)
            )[:MOST]
        ),
        list(runs.filter(number__icontains=text)[:MOST]),
        list(certificates.filter(number__icontains=text)[:MOST]),
        list(
            Instrument.objects.visible_to(viewer).filter(
                Q(identifier__icontains=text) | Q(serial__icontains=text) | Q(description__icontains=text)
            )[:MOST]
        ),
    )
