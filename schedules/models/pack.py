"""Rule packs of the laboratory, rows of shipped packs that somebody confirmed, and what unconfirmed ones block."""

from __future__ import annotations

from django.db import models


class PackVersionQuerySet(models.QuerySet["PackVersion"]):
    """Reads of versions of the laboratory's own packs."""

    def visible_to(self, viewer) -> PackVersionQuerySet:
        """Return all for the laboratory, none for anyone else."""
        return self if viewer.is_laboratory else self.none()

    def for_list(self) -> PackVersionQuerySet:
        """Return with who wrote and who confirmed."""
        return self.select_related("author", "confirmed_by")

    def with_key(self, key: str) -> PackVersion | None:
        """Return the version of that key as an address writes it, None where there is none."""
        return self.filter(pk=int(key)).first() if key.isdecimal() and len(key) < 10 else None

    def in_force(self) -> PackVersionQuerySet:
        """Return of each pack the confirmed version with the highest number, unless it was retired."""
        newer = PackVersion.objects.filter(
            name=models.OuterRef("name"), number__gt=models.OuterRef("number"), confirmed_at__isnull=False
        )
        confirmed = self.filter(confirmed_at__isnull=False, retired_at__isnull=True)
        return confirmed.filter(~models.Exists(newer)).order_by("name")


class PackVersion(models.Model):
    """One row: one version of one of the laboratory's own packs, as its TOML text; frozen once it is confirmed."""

    name = models.SlugField(max_length=60)
    number = models.PositiveIntegerField()
    content = models.TextField()
    sha256 = models.CharField(max_length=64)
    author = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    written_at = models.DateTimeField(auto_now_add=True)
    confirmed_by = models.ForeignKey("people.User", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    confirmed_at = models.DateTimeField(null=True, blank=True)
    first_used_at = models.DateTimeField(null=True, blank=True)
    retired_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    objects = PackVersionQuerySet.as_manager()

    class Meta:
        ordering = ("name", "-number")
        constraints = [
            models.UniqueConstraint(fields=["name", "number"], name="a_version_once_a_pack"),
            models.CheckConstraint(
                condition=models.Q(confirmed_by__isnull=True, confirmed_at__isnull=True)
                | models.Q(confirmed_by__isnull=False, confirmed_at__isnull=False),
                name="pack_confirmation_has_who_and_when",
            ),
            models.CheckConstraint(
                condition=models.Q(confirmed_by__isnull=True) | ~models.Q(confirmed_by=models.F("author")),
                name="a_pack_is_confirmed_by_another",
            ),
            models.CheckConstraint(
                condition=models.Q(first_used_at__isnull=True) | models.Q(confirmed_at__isnull=False),
                name="only_a_confirmed_pack_is_used",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name}, version {self.number}"

    @property
    def file(self) -> str:
        """Return the name of the file that the rules know the pack by."""
        return f"{self.name}.toml"

    @property
    def is_confirmed(self) -> bool:
        """Say whether a second person confirmed it; from then on it is never edited."""
        return self.confirmed_at is not None


class RowConfirmation(models.Model):
    """One row: one row of a shipped pack that somebody compared with the laboratory's licensed copy.

    `digest` is that of the row's content, so that the confirmation ends with the content.
    """

    pack = models.CharField(max_length=80)
    row = models.CharField(max_length=120)
    digest = models.CharField(max_length=64)
    copy = models.CharField(max_length=200)
    confirmed_by = models.ForeignKey("people.User", on_delete=models.PROTECT, related_name="+")
    confirmed_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("pack", "row")
        constraints = [models.UniqueConstraint(fields=["pack", "digest"], name="a_row_confirmed_once")]

    def __str__(self) -> str:
        return f"{self.pack} {self.row}"


class RulePolicy(models.Model):
    """One row, the only one: what the laboratory decided about rows that nobody has confirmed."""

    blocks_certificates = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name_plural = "rule policies"
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="one_rule_policy")]

    def __str__(self) -> str:
        return "Unconfirmed rows block certificates" if self.blocks_certificates else "Unconfirmed rows are marked"
