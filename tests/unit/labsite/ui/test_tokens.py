"""The tokens keep WCAG 2.2 AA: text 4.5 to 1 (1.4.3), shapes 3 to 1 (1.4.11); criteria and formula from memory."""

import hashlib
import re
from pathlib import Path

import pytest

import labsite.ui

STATIC = Path(labsite.ui.__file__).parent / "static"
TOKENS = (STATIC / "ui" / "tokens.css").read_text(encoding="utf-8")


def block(selector: str) -> dict[str, str]:
    body = re.search(re.escape(selector) + r"\s*\{([^}]*)\}", TOKENS).group(1)
    return dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6});", body))


LIGHT = block(":root")
DARK = LIGHT | block(':root[data-theme="dark"]')
PREFERRED_DARK = block(':root:not([data-theme="light"])')

TEXT = [
    *[(ink, ground) for ink in ("ink", "ink-2", "accent") for ground in ("paper", "sheet", "accent-soft")],
    *[(tone, ground) for tone in ("ok", "bad", "doubt", "void") for ground in (f"{tone}-soft", "sheet", "paper")],
    *[("ink", f"{tone}-soft") for tone in ("ok", "bad", "doubt", "void")],
    ("accent-strong", "accent-soft"),
    ("on-accent", "accent"),
    ("on-accent", "accent-strong"),
    ("on-head", "head"),
    ("on-head-2", "head"),
    ("on-head", "head-field"),
    ("on-head-2", "head-field"),
    ("ink-2", "band"),
    ("ink-2", "limit"),
]
SHAPES = [
    *[(shape, ground) for shape in ("edge", "focus") for ground in ("sheet", "paper")],
    *[(trace, ground) for trace in ("accent", "ink") for ground in ("band", "limit", "sheet")],
    ("head-mark", "head"),
    ("edge", "head"),
    ("accent", "line"),
    ("ink-3", "sheet"),
]


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted([luminance(one), luminance(other)])
    return (high + 0.05) / (low + 0.05)


def test_black_on_white_is_21_to_1():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_text_stands_out_from_its_ground(theme):
    faint = {pair: round(contrast(theme[pair[0]], theme[pair[1]]), 2) for pair in TEXT}
    assert {pair: ratio for pair, ratio in faint.items() if ratio < 4.5} == {}


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_shapes_stand_out_from_their_ground(theme):
    faint = {pair: round(contrast(theme[pair[0]], theme[pair[1]]), 2) for pair in SHAPES}
    assert {pair: ratio for pair, ratio in faint.items() if ratio < 3} == {}


def test_dark_is_the_same_whether_preferred_or_chosen():
    assert block(':root[data-theme="dark"]') == PREFERRED_DARK


def test_every_token_that_a_style_asks_for_is_there():
    declared = set(re.findall(r"--([\w-]+):", TOKENS))
    sheets = [STATIC / "ui" / name for name in ("base.css", "components.css", "print.css")]
    asked = {name for sheet in sheets for name in re.findall(r"var\(--([\w-]+)", sheet.read_text(encoding="utf-8"))}
    assert asked - declared == set()


def test_every_font_that_the_tokens_name_is_served():
    named = re.findall(r'url\("([^"]+)"\)', TOKENS)
    assert len(named) == 3
    assert [name for name in named if not (STATIC / "ui" / name).resolve().is_file()] == []


def test_the_vendored_parts_are_the_ones_written_down():
    vendor = STATIC / "vendor"
    written = re.findall(r"^([0-9a-f]{64})  (\S+)$", (vendor / "VENDOR.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert {name for _, name in written} == {
        str(path.relative_to(vendor))
        for path in vendor.rglob("*")
        if path.is_file() and path.suffix in {".js", ".woff2", ".txt"}
    }
    assert [
        name for digest, name in written if hashlib.sha256((vendor / name).read_bytes()).hexdigest() != digest
    ] == []
