"""Templates hold no script, style or handler of their own, and forms that post carry their secret."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
APPS = ("labsite", "equipment", "schedules", "records")
ALL = sorted(p for app in APPS for p in (ROOT / app).rglob("templates/**/*.html"))
# The certificate itself is set by WeasyPrint, never by a browser, so the policy for pages does not reach it.
DOCUMENT = ROOT / "records" / "templates" / "certificates"
PAGES = [p for p in ALL if p != DOCUMENT / "certificate.html" and DOCUMENT / "parts" not in p.parents]
INLINE = {
    "a script in the page": re.compile(r"<script\b(?![^>]*\bsrc=)", re.IGNORECASE),
    "a style sheet in the page": re.compile(r"<style\b", re.IGNORECASE),
    "a style attribute": re.compile(r"<[a-z][^>]*\sstyle\s*=", re.IGNORECASE),
    "a handler": re.compile(r"<[a-z][^>]*\s(?:on[a-z]+|hx-on[\w:-]*)\s*=", re.IGNORECASE),
    "a script address": re.compile(r"javascript:", re.IGNORECASE),
    "text that is not escaped": re.compile(r"\|\s*safe\b|\{%\s*autoescape\s+off"),
    "something from elsewhere": re.compile(r"(?:src|href)\s*=\s*[\"'](?:https?:)?//", re.IGNORECASE),
}
FORM = re.compile(r"<form\b[^>]*\bmethod=[\"']post[\"'][^>]*>(.*?)</form>", re.IGNORECASE | re.DOTALL)


def named(paths):
    return [pytest.param(path, id=str(path.relative_to(ROOT))) for path in paths]


@pytest.mark.parametrize("path", named(PAGES))
def test_nothing_stands_inline(path):
    text = path.read_text(encoding="utf-8")
    assert [what for what, pattern in INLINE.items() if pattern.search(text)] == []


@pytest.mark.parametrize("path", named(PAGES))
def test_forms_that_post_carry_their_secret(path):
    bare = [form[:80] for form in FORM.findall(path.read_text(encoding="utf-8")) if "csrf_token" not in form]
    assert bare == []


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("<script>alert(1)</script>", "a script in the page"),
        ("<style>p{}</style>", "a style sheet in the page"),
        ('<p class="a" style="color:red">', "a style attribute"),
        ('<button type="button" onclick="go()">', "a handler"),
        ('<div hx-on:click="go()">', "a handler"),
        ('<a href="javascript:go()">', "a script address"),
        ("{{ remark|safe }}", "text that is not escaped"),
        ('<script src="//elsewhere.example/a.js">', "something from elsewhere"),
    ],
)
def test_the_convention_would_see_it(text, what):
    assert INLINE[what].search(text)


def test_there_are_templates_to_look_at():
    assert len(PAGES) > 20
