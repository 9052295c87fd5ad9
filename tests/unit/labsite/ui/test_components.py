"""Each component renders in each of its states, and says its options first."""

import re
from pathlib import Path
from types import SimpleNamespace

import pytest
from django import forms
from django.core.paginator import Paginator
from django.template.loader import render_to_string

import labsite.ui
from labsite.ui.web.samples import SampleForm

COMPONENTS = Path(labsite.ui.__file__).parent / "templates" / "components"
NAMES = sorted(path.stem for path in COMPONENTS.glob("*.html"))


def rendered(component, /, **options):
    return render_to_string(f"components/{component}.html", options)


def words(html):
    return " ".join(re.sub(r"<[^>]+>", " ", html).replace("\u00a0", " ").split())


@pytest.mark.parametrize("name", NAMES)
def test_a_component_opens_with_its_options(name):
    text = (COMPONENTS / f"{name}.html").read_text(encoding="utf-8")
    opening = re.match(r"(?:\{% load [\w ]+ %\})?\{% comment %\}(.*?)\{% endcomment %\}", text, re.DOTALL)
    assert opening is not None
    assert "Options:" in opening.group(1)


@pytest.mark.parametrize("name", NAMES)
def test_every_component_is_shown_somewhere(name):
    pages = Path(labsite.ui.__file__).parent / "templates"
    shown = "".join(path.read_text(encoding="utf-8") for path in pages.rglob("*.html"))
    assert f'"components/{name}.html"' in shown


def test_verdicts_differ_in_word_shape_and_class():
    verdicts = ["conforms", "does_not_conform", "inconclusive", "not_valid"]
    html = [rendered("verdict", verdict=verdict) for verdict in verdicts]
    assert len({words(text) for text in html}) == 4
    assert len({re.search(r"<svg.*</svg>", text).group() for text in html}) == 4
    assert [re.search(r"verdict-(\w+)", text).group(1) for text in html] == verdicts


def test_nothing_judged_has_no_shape():
    assert words(rendered("verdict", verdict="")) == "Not judged yet"
    assert "<svg" not in rendered("verdict", verdict="")


def test_status():
    assert rendered("status", label="Waiting", tone="warn") == '<span class="status status-warn">Waiting</span>\n'


def test_quantity():
    assert words(rendered("quantity", value=6.81, unit="pC", uncertainty=1.07)) == "6.8 ± 1.1 pC"
    assert words(rendered("quantity", value=18.7149, unit="kV", digits=3)) == "18.7 kV"


def test_facts_from_mappings_and_from_tuples():
    mappings = rendered("facts", items=[{"label": "Charge", "value": "1.026", "note": "drift"}])
    tuples = rendered("facts", items=[("Charge", "1.026", "drift")])
    assert words(mappings) == words(tuples) == "Charge 1.026 drift"
    assert words(rendered("facts", items=[{"label": "Charge", "value": ""}])) == "Charge –"


def test_timeline_says_its_states_in_words():
    steps = [
        {"label": "Set-up", "state": "done"},
        {"label": "Noise", "state": "blocked", "detail": "64 of 50 pC"},
        {"label": "Review", "state": "current", "url": "/r/"},
        {"label": "Certificate", "state": "todo"},
    ]
    html = rendered("timeline", steps=steps)
    assert words(html) == "✓ Set-up (done) ! Noise (cannot go on) 64 of 50 pC Review Certificate"
    assert html.count('aria-current="step"') == 1
    assert 'href="/r/"' in html
    assert "timeline-down" in rendered("timeline", steps=steps, down=True)


def test_empty_offers_its_action_only_where_there_is_one():
    assert "<a" not in rendered("empty", title="No run", text="A run comes here.")
    assert 'href="/today/"' in rendered("empty", title="No run", text="…", action_url="/today/", action_label="Today")


@pytest.mark.parametrize(("tone", "role"), [("info", "status"), ("ok", "status"), ("warn", "alert"), ("bad", "alert")])
def test_notices_that_matter_are_announced(tone, role):
    html = rendered("notice", tone=tone, title="A title", text="A <b>text</b>")
    assert f'role="{role}"' in html
    assert "&lt;b&gt;" in html


def test_the_caution_says_that_the_page_protects_nobody():
    said = words(rendered("caution"))
    assert said.startswith("High voltage. This page records; it switches nothing and protects nobody.")
    assert "safety rules come first" in said


def test_a_form_says_what_needs_mending_and_keeps_what_was_typed():
    html = rendered("form", form=SampleForm({"serial": "XX-<1>", "highest_voltage_kv": "twelve"}))
    assert "Nothing was saved yet. 4 things need mending" in html
    assert 'href="#id_highest_voltage_kv"' in html
    assert 'id="id_highest_voltage_kv_error"' in html
    assert 'aria-describedby="id_highest_voltage_kv_error"' in html
    assert 'value="XX-&lt;1&gt;"' in html


def test_a_form_not_sent_yet_has_no_summary_and_labels_for_all():
    html = rendered("form", form=SampleForm())
    assert "data-error-summary" not in html
    assert len(re.findall(r"<(?:label|legend)\b", html)) == 6 + 1 + 2  # six labels, a legend, two radio labels
    assert html.count("optional") == 2


class VersionedForm(forms.Form):
    """A form that carries the version it was opened at."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    remark = forms.CharField(required=False)


def test_a_hidden_field_is_carried_and_its_error_shown():
    html = rendered("form", form=VersionedForm({"version": "three"}))
    assert '<input type="hidden" name="version" value="three"' in html
    assert "One thing needs mending" in html
    assert "<li>Enter a whole number.</li>" in html


def test_pagination_keeps_the_search(rf):
    page = Paginator(range(120), 50).page(2)
    html = render_to_string("components/pagination.html", {"page_obj": page}, request=rf.get("/?q=XX&page=2"))
    assert 'href="?q=XX&amp;page=1"' in html
    assert 'href="?q=XX&amp;page=3"' in html
    assert "Page 2 of 3 (120 in all)" in words(html)


def test_one_page_needs_no_pagination(rf):
    page = Paginator(range(3), 50).page(1)
    assert render_to_string("components/pagination.html", {"page_obj": page}, request=rf.get("/")).strip() == ""


@pytest.mark.parametrize(
    ("state", "asks", "said"),
    [
        ("queued", True, "Waiting for a worker"),
        ("running", True, "Reading the record"),
        ("done", False, "Done"),
        ("failed", False, "Not finished"),
    ],
)
def test_progress_asks_again_until_the_job_has_ended(state, asks, said):
    job = SimpleNamespace(stage="Reading the record", progress=40, state=state, words="In words.")
    html = rendered("progress", job=job, url="/jobs/1/")
    assert ("hx-get" in html) is asks
    assert words(html) == f"{said} 40 % In words."


def test_a_digest_is_short_and_whole():
    digest = "9f3c" + "0" * 56 + "b1d4"
    assert words(rendered("digest", value=digest)) == f"SHA-256 9f3c…b1d4 {digest}"


def test_breadcrumbs_end_where_one_is():
    html = rendered("breadcrumbs", items=[{"label": "Units", "url": "/units/"}, {"label": "XX-0001", "url": ""}])
    assert 'href="/units/"' in html
    assert '<span aria-current="page">XX-0001</span>' in html


@pytest.mark.parametrize(
    ("confidence", "unconfirmed", "said"),
    [
        ("published", False, "A standard, 2026, 4.2 · 1.2 · Um / √3 · Um = 27"),
        ("memory", False, "from memory A standard, 2026, 4.2 · 1.2 · Um / √3 · Um = 27"),
        (
            "common practice",
            True,
            "common practice, no source not confirmed A standard, 2026, 4.2 · 1.2 · Um / √3 · Um = 27",
        ),
    ],
)
def test_a_basis_says_how_sure_it_is(confidence, unconfirmed, said):
    html = rendered(
        "basis",
        document="A standard",
        edition="2026",
        clause="4.2",
        formula="1.2 · Um / √3",
        inputs={"Um": 27},
        confidence=confidence,
        unconfirmed=unconfirmed,
    )
    assert words(html) == said


def test_history_picture_upload_and_hold():
    assert 'href="/h/"' in rendered("history", url="/h/")
    picture = rendered("picture", src="/c/?a=1&b=2", title="T", description="D", log=True, heads=["t"], rows=[["0 s"]])
    assert 'data-chart-src="/c/?a=1&amp;b=2"' in picture
    assert "data-chart-log" in picture
    assert "<td>0 s</td>" in picture
    assert 'name="record"' in rendered("upload", name="record", label="Record")
    hold = rendered("hold", voltage="18.71", hold_s=120, band="18.15 to 19.27 kV counts as held")
    assert 'data-hold-s="120"' in hold
    assert "of 2:00, then read" in words(hold)
    assert "The record decides" in words(hold)
