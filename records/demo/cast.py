"""The people and companies of the demonstration; all invented."""

from __future__ import annotations

from dataclasses import dataclass

PASSWORD = "invented-laboratory-2026"  # noqa: S105
LABORATORY = "Quayside Insulation Works – test laboratory (invented)"
LABORATORY_ADDRESS = "7 Slipway Road\nNorthhaven\n(invented address)"


@dataclass(frozen=True)
class Person:
    """One invented person."""

    key: str
    email: str
    name: str
    company: str
    role: str


FENNMARK = "Fennmark Power (invented)"
OXBOW = "Oxbow Traction (invented)"
SALTMARSH = "Saltmarsh Wind (invented)"
HOLLIN = "Hollin Quarry Electrics (invented)"
CUSTOMERS = (FENNMARK, OXBOW, SALTMARSH, HOLLIN)

PEOPLE = (
    Person("administrator", "ada@quayside.example", "Ada Lindqvist", LABORATORY, "administrator"),
    Person("tester", "tove@quayside.example", "Tove Brandt", LABORATORY, "tester"),
    Person("second", "sami@quayside.example", "Sami Orlov", LABORATORY, "tester"),
    Person("approver", "amara@quayside.example", "Amara Voss", LABORATORY, "approver"),
    Person("quality", "quentin@quayside.example", "Quentin Hale", LABORATORY, "quality_manager"),
    Person("customer", "clara@fennmark.example", "Clara Nyberg", FENNMARK, "customer"),
    Person("oxbow", "otto@oxbow.example", "Otto Kraus", OXBOW, "customer"),
    Person("saltmarsh", "signe@saltmarsh.example", "Signe Holm", SALTMARSH, "customer"),
    Person("witness", "wim@fennmark.example", "Wim Daalder", FENNMARK, "witness"),
)
# One a role, as the start prints them.
SHOWN = ("tester", "approver", "quality", "customer", "witness", "administrator")
