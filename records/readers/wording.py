"""Text out of files made fit to be shown and stored: signs that print nothing, or that no database takes, go."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def plain(text: str) -> str:
    """Return a text with each sign that cannot be printed (NUL, line ends, halves of pairs) as a blank.

    Examples
    --------
    >>> plain("U\\x00L1 (kV)")
    'U L1 (kV)'
    """
    return text if text.isprintable() else "".join(sign if sign.isprintable() else " " for sign in text)


def plain_throughout(content: Any) -> Any:
    """Return plain values, as JSON has them, with every text and every key made plain."""
    if isinstance(content, str):
        return plain(content)
    if isinstance(content, Mapping):
        return {plain(str(key)): plain_throughout(value) for key, value in content.items()}
    if isinstance(content, list | tuple):
        return [plain_throughout(value) for value in content]
    return content
