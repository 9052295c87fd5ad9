"""What was tested and what came of it."""

from records.models.certificate import Certificate
from records.models.evaluation import Evaluation, Finding
from records.models.invitation import WitnessInvitation
from records.models.nonconformance import Nonconformance
from records.models.record import Record
from records.models.run import Run, RunInstrument, RunPhoto, RunRemark, SetupCheck, StageMark
from records.models.sign_off import SignOff

__all__ = [
    "Certificate",
    "Evaluation",
    "Finding",
    "Nonconformance",
    "Record",
    "Run",
    "RunInstrument",
    "RunPhoto",
    "RunRemark",
    "SetupCheck",
    "SignOff",
    "StageMark",
    "WitnessInvitation",
]
