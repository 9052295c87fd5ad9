"""Rule packs of the laboratory: written by one person, confirmed by another, then frozen; rows of shipped ones."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from typing import Any

from django.utils import timezone

from labsite.ledger.services import change_fields, create_with_entry, record_entry, writing
from schedules.models import PackVersion, RowConfirmation, RulePolicy
from schedules.rules import PackError, RulePack, load_packs, read_pack
from schedules.rules.rows import shipped_rows
from schedules.services.refusals import ScheduleRefused
from schedules.services.rights import require

LONGEST = 200_000
_NAME = re.compile(r"[a-z][a-z0-9_]{2,59}")


def write_pack(*, name: str, content: str, by: Any) -> PackVersion:
    """Keep a new pack, or the next version of one that stands; it is used once another person has confirmed it.

    Refuses a name that is none or belongs to a shipped pack, a text that the validator refuses (with file, key and
    mend), a text equal to the version before, and a new version while the one before waits for its confirmation.
    """
    require(by, "write_pack")
    name, content = name.strip(), _lines(content)
    if not _NAME.fullmatch(name):
        raise ScheduleRefused.of("Give 3 to 60 small letters, digits and underscores, a letter first.", "name")
    if name in {pack.name for pack in load_packs()}:
        raise ScheduleRefused.of(f"A pack that ships is called {name}. Give yours another name.", "name")
    validated(name, content)
    with writing():
        last = PackVersion.objects.filter(name=name).order_by("-number").first()
        if last is not None and not last.is_confirmed:
            raise ScheduleRefused.of(
                f"{last} waits for its confirmation. Change that one, or have it confirmed.", "name"
            )
        if last is not None and last.sha256 == digest_of_text(content):
            raise ScheduleRefused.of(f"This is {last} word for word; nothing was stored.", "content")
        number = 1 if last is None else last.number + 1
        pack = PackVersion(name=name, number=number, content=content, sha256=digest_of_text(content), author=by)
        return create_with_entry(instance=pack, action="pack.written", by=by)


def edit_pack(*, pack: PackVersion, version: int, content: str, by: Any) -> PackVersion:
    """Change a pack that nobody has confirmed yet, as its author saw it at `version`.

    Refuses anybody but its author, a confirmed version, and what the validator refuses. Raises `StaleEdit` when it
    moved on.
    """
    require(by, "write_pack")
    content = _lines(content)
    validated(pack.name, content)
    with writing():
        row = PackVersion.objects.select_for_update().get(pk=pack.pk)
        _refuse_frozen(row)
        if row.author_id != by.pk:
            raise ScheduleRefused.of(f"{row.author.name} writes this version. Ask for the change, or confirm it not.")
        changes = {"content": content, "sha256": digest_of_text(content)}
        return change_fields(instance=row, version=version, changes=changes, action="pack.changed", by=by)


def confirm_pack(*, pack: PackVersion, version: int, by: Any) -> PackVersion:
    """Confirm a pack as it stood at `version`: it is compared with the source, used from now on and never edited.

    Refuses its author, a version that is confirmed already, and one that changed since it was read.
    """
    require(by, "confirm_pack")
    with writing():
        row = PackVersion.objects.select_for_update().get(pk=pack.pk)
        _refuse_frozen(row)
        if row.author_id == by.pk:
            raise ScheduleRefused.of("You wrote this pack. Somebody else has to confirm it.")
        if row.version != version:
            raise ScheduleRefused.of(f"{row} was changed after you opened it. Read it again, then confirm it.")
        validated(row.name, row.content)
        changes = {"confirmed_by": by, "confirmed_at": timezone.now()}
        return change_fields(instance=row, version=version, changes=changes, action="pack.confirmed", by=by)


def retire_pack(*, pack: PackVersion, reason: str, by: Any) -> PackVersion:
    """Take a confirmed pack out of use; plans that were made with it keep it.

    Refuses an empty reason, and a version that is not confirmed or is retired already.
    """
    require(by, "confirm_pack")
    if not reason.strip():
        raise ScheduleRefused.of("Say why the pack is not to be used any more.", "reason")
    with writing():
        row = PackVersion.objects.select_for_update().get(pk=pack.pk)
        if not row.is_confirmed or row.retired_at is not None:
            raise ScheduleRefused.of(f"{row} is not in use; there is nothing to retire.")
        changes = {"retired_at": timezone.now()}
        return change_fields(
            instance=row, version=row.version, changes=changes, action="pack.retired", reason=reason.strip(), by=by
        )


def note_use(*, digests: Iterable[str], by: Any) -> None:
    """Note on the laboratory's own packs that a plan was adopted with them; called inside the adoption."""
    for row in PackVersion.objects.select_for_update().filter(sha256__in=list(digests), first_used_at__isnull=True):
        row.first_used_at = timezone.now()
        row.save(update_fields=["first_used_at"])
        record_entry(action="pack.used", subject=row, changes={"first_used_at": [None, row.first_used_at]}, by=by)


def confirm_rows(*, pack: str, digests: Iterable[str], copy: str, by: Any) -> list[RowConfirmation]:
    """Confirm rows of a shipped pack against the laboratory's licensed copy, which `copy` names.

    Refuses no row at all, rows that the pack does not have, and a copy that is not named. Rows that are confirmed
    already stay as they are.
    """
    require(by, "confirm_pack")
    rows = {row.digest: row for row in shipped_rows(pack)}
    wanted = list(dict.fromkeys(digests))
    if not wanted or not set(wanted) <= set(rows):
        raise ScheduleRefused.of("Tick the rows that you compared; none of them, or an unknown one, was named.", "rows")
    if not copy.strip() or len(copy) > 200:
        raise ScheduleRefused.of("Name the licensed copy that you compared with, in up to 200 characters.", "copy")
    with writing():
        known = set(RowConfirmation.objects.filter(pack=pack, digest__in=wanted).values_list("digest", flat=True))
        return [
            create_with_entry(
                instance=RowConfirmation(
                    pack=pack, row=rows[digest].key, digest=digest, copy=copy.strip(), confirmed_by=by
                ),
                action="pack.row_confirmed",
                by=by,
            )
            for digest in wanted
            if digest not in known
        ]


def set_rule_policy(*, blocks_certificates: bool, version: int, reason: str, by: Any) -> RulePolicy:
    """Decide whether unconfirmed rows behind a plan keep its unit from a certificate.

    Refuses an empty reason. Raises `StaleEdit` when the decision moved on since `version`.
    """
    require(by, "set_rule_policy")
    if not reason.strip():
        raise ScheduleRefused.of("Say why.", "reason")
    with writing():
        row, _ = RulePolicy.objects.select_for_update().get_or_create(pk=1)
        changes = {"blocks_certificates": blocks_certificates}
        return change_fields(
            instance=row, version=version, changes=changes, action="rules.policy", reason=reason.strip(), by=by
        )


def validated(name: str, content: str) -> RulePack:
    """Return the pack that a text holds, or refuse with the validator's own words."""
    if len(content) > LONGEST:
        raise ScheduleRefused.of(f"The pack has {len(content)} characters; keep it under {LONGEST}.", "content")
    try:
        return read_pack(content.encode("utf-8"), f"{name}.toml")
    except PackError as fault:
        raise ScheduleRefused.of(f"{fault.key}: {fault.problem}. Mend: {fault.mend}.", "content") from None


def digest_of_text(content: str) -> str:
    """Return the SHA-256 of a pack's text."""
    return hashlib.sha256(content.encode("utf-8")).hexdigest()


def _lines(content: str) -> str:
    """Return the text with the line ends that files have; forms send others."""
    return content.replace("\r\n", "\n").replace("\r", "\n").strip("\n") + "\n"


def _refuse_frozen(row: PackVersion) -> None:
    if row.is_confirmed:
        raise ScheduleRefused.of(f"{row} is confirmed and is never edited. Write the next version of it.")
