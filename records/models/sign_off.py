"""Sign-offs."""

from __future__ import annotations

from django.db import models


class SignOff(models.Model):
    """One row: who signed, in which capacity, meaning what, when, over which digest. Never changed."""

    class Capacity(models.TextChoices):
        TESTER = "tester", "Tester"
        APPROVER = "approver", "Approver"
        WITNESS = "witness", "Witness"

    run = models.ForeignKey("records.Run", on_delete=models.PROTECT, null=True, blank=True, related_name="sign_offs")
    certificate = models.ForeignKey(
        "records.Certificate", on_delete=models.PROTECT, null=True, blank=True, related_name="sign_offs"
    )
    capacity = models.CharField(max_length=10, choices=Capacity.choices)
    meaning = models.CharField(max_length=300)
    user = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="sign_offs")
    invitation = models.ForeignKey(
        "records.WitnessInvitation", on_delete=models.PROTECT, null=True, blank=True, related_name="sign_offs"
    )
    printed_name = models.CharField(max_length=200)
    digest = models.CharField(max_length=64)
    signed_at = models.DateTimeField()

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(run__isnull=False, certificate__isnull=True)
                | models.Q(run__isnull=True, certificate__isnull=False),
                name="signs_a_run_or_a_certificate",
            ),
            models.CheckConstraint(
                condition=models.Q(user__isnull=False) | models.Q(invitation__isnull=False), name="somebody_signs"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.printed_name} as {self.get_capacity_display()}"
