"""Reasons say things in words: no key of step, set-up or record stands in what people read."""

from __future__ import annotations

import ast
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import records.evaluation
from records.evaluation.evaluating import evaluate
from records.evaluation.impulse.synthesis import synthesise_impulse, wave_with_crest
from records.evaluation.joining import RecordsDoNotJoin, join
from records.evaluation.kinds import KINDS
from records.evaluation.setups import CONDITIONS, Setup, parse_setup
from records.evaluation.slow_synthesis import Winding, synthesise_cooling, synthesise_table
from records.evaluation.sweep.synthesis import SeriesBranch, synthesise_sweep
from records.evaluation.wording import KEYS
from records.readers.recording import Recording

ROOT = Path(records.evaluation.__file__).parent
# Modules whose messages are read by whoever writes the files: they name the place, and that is a key.
OF_FILES = {"setups.py", "step.py", "keys.py", "corrections.py", "shell.py"}
KEY = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")
WINDING = {"cold_resistance_ohm": 0.421, "cold_temperature_c": 22.5, "ambient_c": 25.0, "shutdown_s": 0.0}
RISE = {"kind": "temperature_rise", "criteria": [{"quantity": "temperature_rise_k", "max": 80}]}
NOTHING: dict[str, float] = {}


def texts(path):
    """Return the texts of a module that are sentences or parts of one: with a blank, and no docstring."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    found = [node for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)]
    return [node.value for node in found if id(node) not in alone and " " in node.value]


def said(step, recordings, setup=None):
    result = evaluate(step, recordings, setup)
    return [*(row.reason for row in result.findings), *result.remarks]


def test_no_sentence_of_the_evaluation_names_a_key():
    modules = [path for path in ROOT.rglob("*.py") if path.name not in OF_FILES]
    assert len(modules) > 50
    named = {path.name: keys for path in modules if (keys := KEY.findall(" ".join(texts(path))))}
    assert named == {}


def test_every_key_that_may_be_missing_has_words():
    known = {key.name for kind in KINDS.values() for key in kind.keys}
    assert set(CONDITIONS) <= set(KEYS) <= known | set(CONDITIONS)
    assert not any(KEY.search(words) for words in KEYS.values())


@pytest.mark.parametrize(
    ("step", "recording", "setup", "words"),
    [
        (
            RISE,
            synthesise_cooling(Winding()),
            {"shutdown_s": 0.0, "ambient_c": 25.0},
            "The material of the winding, the cold resistance and the temperature of the cold resistance are not "
            "stated: no temperature rise follows from the resistance.",
        ),
        (
            RISE | {"material": "copper"},
            synthesise_cooling(Winding()),
            {key: value for key, value in WINDING.items() if key != "cold_resistance_ohm"},
            "The cold resistance is not stated: no temperature rise follows from the resistance.",
        ),
        (
            {"kind": "inductance", "material": "copper", "criteria": [{"quantity": "loss_at_reference_w", "max": 1}]},
            synthesise_table({"inductance_mh": 5.0, "loss_w": 250.0, "current_a": 50.0}),
            {"temperature_c": 20.0},
            "The reference temperature, the direct-current resistance and the temperature of the direct-current "
            "resistance are not stated: the loss is not corrected to a reference temperature.",
        ),
        (
            {"kind": "winding_resistance", "criteria": [{"quantity": "resistance_at_reference_ohm", "max": 1}]},
            synthesise_table({"resistance_ohm": 0.4}),
            NOTHING,
            "The step names no material of the winding, so nothing is corrected to a reference temperature.",
        ),
        (
            {"kind": "capacitance", "criteria": [{"quantity": "capacitance_change_pct", "max": 1}]},
            synthesise_table({"capacitance_uf": 10.0}),
            NOTHING,
            "The change cannot be told: nobody states the capacitance before the tests.",
        ),
        (
            {
                "kind": "frequency_response",
                "criteria": [{"quantity": "tuned_order", "nominal": 4.7, "tolerance_pct": 2}],
            },
            synthesise_sweep([SeriesBranch.tuned(282, 60, 6.37)], seed=1),
            NOTHING,
            "The step states no rated frequency, so the tuned order is not known.",
        ),
        (
            {"kind": "winding_resistance"},
            synthesise_table({"capacitance_uf": 10.0}),
            NOTHING,
            "The record has no resistance.",
        ),
        (
            {"kind": "frequency_response"},
            Recording(np.empty(0), {"frequency_hz": np.array([1.0, 2.0, 3.0])}),
            NOTHING,
            "The record has none of the sets of channels that this kind of test is judged on: frequency, impedance and "
            "phase; or frequency, real part of the impedance and imaginary part of the impedance; or frequency, real "
            "part of the reflection and imaginary part of the reflection; or frequency and gain; or frequency and "
            "impedance.",
        ),
    ],
)
def test_what_is_missing_is_said_in_words(step, recording, setup, words):
    told = said(step, [recording], parse_setup(setup))
    assert any(words in one for one in told), told
    assert not [one for one in told if KEY.search(one)]


def test_the_time_of_shutdown_is_asked_for_in_words():
    cooling = synthesise_cooling(Winding())
    at_zero = replace(cooling, time_s=cooling.time_s - cooling.time_s[0])
    told = said({"kind": "temperature_rise", "material": "copper"}, [at_zero], Setup())
    assert told[0].startswith("Neither set-up, record nor step states the time of shutdown, at which the current")


def named(recordings):
    return [replace(one, name=f"“{letter}.csv”") for letter, one in zip("abc", recordings, strict=False)]


def test_a_record_that_cannot_be_looked_at_is_called_by_its_name():
    good, bad = synthesise_table({"resistance_ohm": 0.4}), synthesise_table({"resistance_ohm": -0.4})
    step = {"kind": "winding_resistance"}
    assert said(step, [good, bad])[0].startswith("A resistance of record 2 is not above 0;")
    assert said(step, named([good, bad]))[0].startswith("A resistance of “b.csv” is not above 0;")
    empty = Recording(np.empty(0), {"resistance_ohm": np.array([0.4, np.nan])})
    assert said(step, named([good, empty]))[0].startswith("“b.csv”: Sample 2 of the resistance is not a finite number.")
    great = Recording(np.empty(0), {"resistance_ohm": np.array([1e20])})
    assert said(step, named([good, great]))[0].startswith("“b.csv”: The resistance holds numbers that no instrument")
    great = Recording(np.empty(0), {"resistance_ohm": np.array([0.4, 1e-20])})
    assert said(step, named([good, great]))[0].startswith("The resistance of “b.csv” holds numbers that no instrument")


def test_parts_of_one_file_are_told_apart_by_its_name_too():
    of_two = Recording(
        np.empty(0), {"resistance_ohm": np.array([0.4, 0.5]), "part": np.array([0.0, 1.0])}, {"parts": '["A", "B"]'}
    )
    step = {"kind": "winding_resistance"}
    assert "“A” 0.4, “B” 0.5 Ω" in " ".join(said(step, [of_two]))
    more = named([of_two, synthesise_table({"resistance_ohm": 0.45})])
    assert "“A” of “a.csv” 0.4, “B” of “a.csv” 0.5, “b.csv” 0.45 Ω" in " ".join(said(step, more))


def test_files_that_do_not_continue_are_named():
    parts = [Recording(np.arange(3.0) + begin, {"voltage_kv": np.ones(3)}) for begin in (0.0, 100.0)]
    with pytest.raises(RecordsDoNotJoin, match=r"^One file ends at 2 s and the next begins at 100 s: they are not"):
        join(parts)
    with pytest.raises(RecordsDoNotJoin, match=r"^“a.csv” ends at 2 s and “b.csv” begins at 100 s: they are not"):
        join(named(parts))
    with pytest.raises(RecordsDoNotJoin, match=r"^“b.csv” has no samples.$"):
        join(named([parts[1], replace(parts[0], time_s=np.empty(0), channels={"voltage_kv": np.empty(0)})])[::-1])


def test_impulses_keep_their_number_and_say_their_file():
    step = {"kind": "lightning_impulse", "stages": [{"name": "full", "voltage_kv": 125, "polarity": "negative"}]}
    shots = [synthesise_impulse(wave_with_crest(crest), seed=1) for crest in (-125.0, -100.0)]
    told = said(step, named(shots))
    assert any("Not counted: impulse 2 (“b.csv”, 100 kV, below the band)." in words for words in told)
    flat = replace(shots[1], channels={"voltage_kv": np.zeros(shots[1].rows)})
    assert any(words.startswith("Impulse 2 (“b.csv”): ") for words in said(step, named([shots[0], flat])))
