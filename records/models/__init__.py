"""What was tested and what came of it."""

from records.models.certificate import Certificate
from records.models.evaluation import Evaluation, Finding
from records.models.impact import AffectedFinding, AffectedRun, CustomerLetter, Effect, NonconformingWork
from records.models.invitation import WitnessInvitation
from records.models.nonconformance import Nonconformance
from records.models.record import Record
from records.models.run import Run, RunInstrument, RunPhoto, RunRemark, SetupCheck, StageMark
from records.models.sign_off import SignOff

__all__ = [
    "AffectedFinding",
    "AffectedRun",
    "Certificate",
    "CustomerLetter",
    "Effect",
    "Evaluation",
    "Finding",
    "Nonconformance",
    "NonconformingWork",
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
