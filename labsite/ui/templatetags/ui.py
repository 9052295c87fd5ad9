"""What templates need to show numbers, times, verdicts and forms in one way."""

from __future__ import annotations

import secrets
import uuid
from datetime import date, datetime
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal, InvalidOperation
from typing import Any

from django import template
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

register = template.Library()

THIN_SPACE = "\N{THIN SPACE}"
NO_BREAK_SPACE = "\N{NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"
NOT_KNOWN = "\N{EN DASH}"
VERDICTS = {
    "conforms": "Conforms",
    "does_not_conform": "Does not conform",
    "inconclusive": "Inconclusive",
    "not_valid": "Not a valid test",
}
MESSAGE_TONES = {"success": "ok", "error": "bad", "warning": "warn"}


@register.filter
def verdict_label(verdict: str | None) -> str:
    """Return the verdict as a person reads it; nothing judged is said as such, anything else is an error of ours."""
    if not verdict:
        return "Not judged yet"
    return VERDICTS[verdict]


@register.filter
def number(value: Any, digits: int = 4) -> str:
    """Return a number with `digits` significant digits, a thin space in thousands and a true minus sign."""
    exact = _decimal(value)
    if exact is None:
        return NOT_KNOWN
    return _grouped(*_rounded(exact, digits, ROUND_HALF_EVEN))


@register.simple_tag
def rounded_quantity(value: Any, unit: str = "", uncertainty: Any = None, digits: int = 4) -> SafeString:
    """Show value, uncertainty and unit: U to two significant digits, the value to the same place.

    Without an uncertainty the value alone keeps `digits` significant digits (common practice, no source).
    """
    exact, spread = _decimal(value), _decimal(uncertainty)
    if exact is None:
        return format_html('<span class="quantity">{}</span>', NOT_KNOWN)
    if not spread:
        return _quantity(number(value, digits), "", unit)
    shown_spread, decimals = _rounded(spread, 2, ROUND_HALF_UP)
    if spread - shown_spread > spread / 20:
        shown_spread, decimals = _rounded(spread, 2, ROUND_CEILING)
    shown = _grouped(_to_place(exact, decimals, ROUND_HALF_EVEN), decimals)
    return _quantity(shown, _grouped(shown_spread, decimals), unit)


@register.filter
def local_time(moment: datetime | date | None, style: str = "full") -> SafeString:
    """Show a moment in the laboratory's time zone: `full`, `date` or `time`; the machine-readable one stays UTC."""
    if moment is None:
        return format_html("{}", NOT_KNOWN)
    if not isinstance(moment, datetime):
        return format_html('<time datetime="{}">{}</time>', moment.isoformat(), _day(moment))
    here = timezone.localtime(moment)
    texts = {"full": f"{_day(here)}, {here:%H:%M}", "date": _day(here), "time": f"{here:%H:%M}"}
    return format_html('<time datetime="{}">{}</time>', moment.isoformat(timespec="seconds"), texts[style])


@register.filter
def duration(seconds: Any) -> str:
    """Return seconds in words: 64 s, 2 min 6 s, 1 h 4 min."""
    exact = _decimal(seconds)
    if exact is None:
        return NOT_KNOWN
    if abs(exact) < 120:
        text = number(exact, 3)
        return f"{text.rstrip('0').rstrip('.') if '.' in text else text} s"
    whole = int(exact.to_integral_value(ROUND_HALF_EVEN))
    minutes, rest = divmod(whole, 60)
    hours, minutes_left = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes_left} min" if minutes_left else f"{hours} h"
    return f"{minutes} min {rest} s" if rest else f"{minutes} min"


@register.filter
def clock(seconds: Any) -> str:
    """Return seconds as a clock shows them: 1:16."""
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes}:{rest:02d}"


@register.filter
def short_digest(digest: str) -> str:
    """Return the first and the last four digits of a digest."""
    return f"{digest[:4]}…{digest[-4:]}" if len(digest) > 12 else digest


@register.filter
def message_tone(level_tag: str) -> str:
    """Return the tone of a notice for one of Django's message levels."""
    return MESSAGE_TONES.get(level_tag, "info")


@register.filter
def roles_in_words(user: Any) -> str:
    """Return a person's roles as a reader sees them in the head of a page."""
    return ", ".join(sorted(str(name).replace("_", " ") for name in getattr(user, "role_names", ())))


@register.simple_tag
def once_key() -> SafeString:
    """Render the hidden key by which a form that is sent twice is carried out once."""
    key = uuid.UUID(bytes=secrets.token_bytes(16), version=4)
    return format_html('<input type="hidden" name="_once" value="{}">', key)


def _decimal(value: Any) -> Decimal | None:
    if value is None or value == "":
        return None
    try:
        exact = value if isinstance(value, Decimal) else Decimal(str(value))
    except InvalidOperation:
        return None
    return exact if exact.is_finite() else None


def _rounded(number: Decimal, digits: int, how: str) -> tuple[Decimal, int]:
    """Round to significant digits; 9.996 carries to 10.00, which has one decimal fewer than first thought."""
    carried = _to_place(number, _decimals(number, digits), how)
    decimals = _decimals(carried, digits)
    return _to_place(carried, decimals, how), decimals


def _decimals(number: Decimal, digits: int) -> int:
    return digits - 1 - number.adjusted() if number else digits - 1


def _to_place(number: Decimal, decimals: int, how: str) -> Decimal:
    return number.scaleb(decimals).to_integral_value(how).scaleb(-decimals)


def _grouped(number: Decimal, decimals: int) -> str:
    whole, point, rest = f"{number:.{max(decimals, 0)}f}".partition(".")
    sign = MINUS if number < 0 else ""
    return sign + f"{int(whole.lstrip('-')):,}".replace(",", THIN_SPACE) + point + rest


def _quantity(value: str, uncertainty: str, unit: str) -> SafeString:
    spread = format_html(' <span class="uncertainty">± {}</span>', uncertainty) if uncertainty else ""
    after = format_html('{}<span class="unit">{}</span>', NO_BREAK_SPACE, unit) if unit else ""
    return format_html('<span class="quantity">{}{}{}</span>', value, spread, after)


def _day(moment: date) -> str:
    return f"{moment.day} {moment:%b %Y}"
