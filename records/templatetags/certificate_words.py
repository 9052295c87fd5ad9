"""The words of certificates for templates."""

from __future__ import annotations

from typing import Any

from django import template

from records.certificates import wording
from records.certificates.pictures import MOST_PICTURES, pattern_key, picture_key
from records.evaluation import figures

register = template.Library()

register.filter("plain_number", wording.plain_number)
register.filter("day_words", wording.day_words)
register.filter("moment_words", wording.moment_words)
register.filter("grouped", wording.grouped)


@register.filter
def four_digits(value: float) -> str:
    """Return a planned level to four significant digits, as it is read from the plan."""
    return wording.plain_number(value, 4)


@register.filter
def files_of(run: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the files that a run was judged over; documents of earlier releases name one."""
    return list(run["records"]) if "records" in run else [run["record"]]


@register.filter
def first_lower(words: str) -> str:
    """Return words as they stand inside a sentence."""
    return words[:1].lower() + words[1:]


@register.filter
def name_words(name: str) -> str:
    """Return the words of a quantity's name, without its unit."""
    return wording.split_name(name)[0]


@register.filter
def name_unit(name: str) -> str:
    """Return the unit in a quantity's name."""
    return wording.split_name(name)[1]


@register.filter
def figure_of(finding: dict[str, Any]) -> str:
    """Return value and uncertainty of a finding, without its unit."""
    return wording.figure(finding)


@register.filter
def unit_of(finding: dict[str, Any]) -> str:
    """Return the unit that the figure of a finding is in."""
    return wording.figure_unit(finding)


@register.filter
def word_for(finding: dict[str, Any]) -> str:
    """Return “reported” for a finding without a limit and “valid” for a test inside its limits, else nothing."""
    return figures.word_of(finding["verdict"], finding["judges"], finding.get("min"), finding.get("max"))


@register.filter
def statement_words(finding: dict[str, Any]) -> str:
    """Return the four-state statement of a finding where it was agreed, else nothing."""
    return figures.statement_of(finding)


@register.filter
def limit_of(finding: dict[str, Any]) -> str:
    """Return the limits of a finding or criterion in words."""
    unit = finding.get("unit") or wording.split_name(finding["quantity"])[1]
    return wording.limit_words(finding.get("min"), finding.get("max"), unit)


@register.filter
def decision_words(document: dict[str, Any]) -> str:
    """Return the agreed decision rule of a certificate, with its factor and its statements, in a sentence or two."""
    return wording.decision_words(document)


@register.filter
def confidence_words(confidence: str) -> str:
    """Return how sure a basis is."""
    return wording.CONFIDENCES.get(confidence, confidence)


@register.filter
def underscores_off(name: str) -> str:
    """Return a code as words."""
    return name.replace("_", " ")


@register.filter
def dotted_words(place: str) -> str:
    """Return the place of a figure in a procedure, `stages.withstand.hold_s`, as words."""
    parts = place.split(".")
    return ", ".join(wording.split_name(part)[0].lower() for part in parts[1:] or parts)


@register.filter
def number_or_text(value: Any) -> str:
    """Return a number without an exponent, and a text as it is."""
    return wording.plain_number(value) if is_number(value) else str(value)


@register.filter
def is_number(value: Any) -> bool:
    """Say whether a value is a number."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


@register.filter
def pattern_of_run(pictures: dict[str, str], number: str) -> str:
    """Return the phase-resolved pattern of one run, empty where there is none."""
    return pictures.get(pattern_key(number), "")


@register.filter
def of_run(pictures: dict[str, str], run: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the pictures of one run with the words before them: one, or one for each file by its number and name."""
    number = run["number"]
    single = [("", pictures[picture_key(number)])] if picture_key(number) in pictures else []
    numbered = enumerate(files_of(run)[:MOST_PICTURES], start=1)
    keyed = [(f"record {place}, “{file['name']}”, of ", picture_key(number, place)) for place, file in numbered]
    return single + [(words, pictures[key]) for words, key in keyed if key in pictures]
