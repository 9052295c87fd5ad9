"""The four verdicts."""

from django.db import models


class Verdict(models.TextChoices):
    """What a run says; `not_valid` is a fault of the test and never of the unit."""

    CONFORMS = "conforms", "Conforms"
    DOES_NOT_CONFORM = "does_not_conform", "Does not conform"
    INCONCLUSIVE = "inconclusive", "Inconclusive"
    NOT_VALID = "not_valid", "Not a valid test"
