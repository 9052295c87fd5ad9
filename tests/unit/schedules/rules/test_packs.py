"""Packs: what ships can be used, and whatever is mutated is refused with the key named."""

from __future__ import annotations

import copy
import hashlib
import tomllib

import pytest

from schedules.rules import EQUIPMENT_KINDS, STEP_KINDS, PackError, load_packs, pack_schema, read_pack
from schedules.rules.formats import brought_up
from schedules.rules.meaning import check_meaning
from schedules.rules.packs import SHIPPED, pack_of
from schedules.rules.structure import check_structure
from schedules.rules.vocabulary import CONFIDENCES, TEST_CLASSES

FILES = sorted(SHIPPED.glob("*.toml"))
PACKS = load_packs()


def parts(tree, path=()):
    """Give every key's path in the tree; of a list only its first entry, the others being alike."""
    entries = tree.items() if isinstance(tree, dict) else list(enumerate(tree))[:1] if isinstance(tree, list) else ()
    for key, value in entries:
        yield (*path, key)
        yield from parts(value, (*path, key))


def tree_of(path):
    """Give a shipped pack as a tree, short of rows and procedures after the first, which are alike in structure."""
    tree = tomllib.loads(path.read_text(encoding="utf-8"))
    tree["procedures"] = tree["procedures"][:1]
    for table in tree["levels"]:
        table["rows"] = table["rows"][:1]
    checked(tree, path.name)
    return tree


def holder(tree, path):
    for key in path[:-1]:
        tree = tree[key]
    return tree


def checked(tree, file):
    check_structure(tree, file)
    check_meaning(pack_of(tree, file, ""), file)


def refusal(tree, file):
    with pytest.raises(PackError) as refused:
        checked(tree, file)
    return refused.value


def other_types(value):
    return [other for other in ("text", 7.5, ["text"], {"a": 1}, True) if type(other) is not type(value)]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_key_dropped_is_refused_by_name(path):
    tree = tree_of(path)
    dropped = [place for place in parts(tree) if isinstance(place[-1], str)]
    assert len(dropped) >= 20
    for place in dropped:
        mutated = copy.deepcopy(tree)
        del holder(mutated, place)[place[-1]]
        refused = refusal(mutated, path.name)
        assert refused.file == path.name
        assert refused.key.split(".")[-1] == place[-1]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_type_changed_is_refused_by_name(path):
    tree = tree_of(path)
    for place in parts(tree):
        value = holder(tree, place)[place[-1]]
        for other in other_types(value):
            if isinstance(value, int) and isinstance(other, float | bool) and place[-1] != "order":
                continue
            mutated = copy.deepcopy(tree)
            holder(mutated, place)[place[-1]] = other
            refused = refusal(mutated, path.name)
            name = next(str(key) for key in reversed(place) if isinstance(key, str))
            assert name in refused.key, (place, other, str(refused))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_unknown_key_is_refused_by_name(path):
    tree = tree_of(path)
    tables = [(), *(place for place in parts(tree) if isinstance(holder(tree, place)[place[-1]], dict))]
    for place in tables:
        mutated = copy.deepcopy(tree)
        (holder(mutated, place)[place[-1]] if place else mutated)["colour"] = "grey"
        assert refusal(mutated, path.name).key.endswith("colour")


KINDS_OF_PROCEDURE = {
    entry["kind"]: (path.name, place)
    for path in FILES
    for place, entry in enumerate(tomllib.loads(path.read_text(encoding="utf-8"))["procedures"])
}
"""A shipped procedure of each kind, since each kind has keys of its own."""


@pytest.mark.parametrize("kind", sorted(STEP_KINDS))
def test_every_key_of_every_kind_of_procedure_is_needed_and_typed(kind):
    name, place = KINDS_OF_PROCEDURE[kind]
    tree = tomllib.loads((SHIPPED / name).read_text(encoding="utf-8"))
    tree["procedures"] = [tree["procedures"][place]]
    for key in [path for path in parts(tree["procedures"][0]) if isinstance(path[-1], str)]:
        mutated = copy.deepcopy(tree)
        del holder(mutated["procedures"][0], key)[key[-1]]
        assert refusal(mutated, name).key.split(".")[-1] == key[-1], key
        for other in other_types(holder(tree["procedures"][0], key)[key[-1]]):
            if key[-1] in ("order", "level_pct", "tolerance_pct") and isinstance(other, float):
                continue
            mutated = copy.deepcopy(tree)
            holder(mutated["procedures"][0], key)[key[-1]] = other
            assert key[-1] in refusal(mutated, name).key, (key, other)


def agreed() -> dict:
    return tomllib.loads((SHIPPED / "agreed_discharge_practice.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    ("place", "value", "key", "problem"),
    [
        (
            ("procedures", 0, "stages", 0, "voltage_kv"),
            "0.5 * power_kv",
            "voltage_kv",
            "uses power_kv, which is no rating",
        ),
        (
            ("procedures", 0, "stages", 0, "voltage_kv"),
            "charge_limit_pc",
            "voltage_kv",
            "does not give the unit of voltage_kv",
        ),
        (
            ("procedures", 0, "stages", 0, "voltage_kv"),
            "highest_voltage_kv / (phases - 1)",
            "voltage_kv",
            "can divide by zero",
        ),
        (("procedures", 0, "stages", 0, "voltage_kv"), "0 * power_frequency_kv", "voltage_kv", "is never above zero"),
        (("procedures", 0, "stages", 0, "hold_s"), "0", "hold_s", "is never above zero"),
        (
            ("procedures", 0, "stages", 0, "voltage_kv"),
            "__import__('os')",
            "voltage_kv",
            "cannot be read at character 1",
        ),
        (("procedures", 0, "stages", 1, "name"), "prestress", "stages[1].name", "'prestress' stands twice"),
        (
            ("procedures", 0, "criteria", 0, "stage"),
            "later",
            "criteria[0].stage",
            "'later' is no stage of the procedure",
        ),
        (("procedures", 0, "criteria", 0, "quantity"), "charge_pc", "quantity", "'charge_pc' is not known"),
        (("procedures", 0, "criteria", 0, "bound"), "at_least", "criteria[0].min", "is missing"),
        (("procedures", 0, "report"), ["colour"], "report[0]", "'colour' is not known"),
        (("procedures", 0, "needs"), ["colour"], "needs[0]", "'colour' is not known"),
        (("procedures", 0, "kind"), "power_frequency_withstand", "altitude", "is missing"),
        (("procedures", 0, "acceptance"), "three", "acceptance", "does not belong"),
        (("values", 0, "formula"), "1 / 0", "values[0].formula", "can divide by zero"),
        (("values", 1, "name"), "charge_limit_pc", "values[1].name", "stands twice"),
        (("applies", "to_kv"), 0.5, "applies.to_kv", "is not above from_kv"),
        (
            ("applies", "default_for"),
            ["bushing"],
            "applies.default_for",
            "names equipment that the pack does not apply to",
        ),
        (("rounding", "step_kv"), float("nan"), "rounding.step_kv", "is not finite"),
        (("format",), 3, "format", "2 was expected"),
    ],
)
def test_what_cannot_be_used_is_refused(place, value, key, problem):
    tree = agreed()
    holder(tree, place)[place[-1]] = value
    refused = refusal(tree, "own.toml")
    assert refused.key.endswith(key)
    assert problem in refused.problem


def transformers() -> dict:
    return tomllib.loads((SHIPPED / "iec_61869_1_2007.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    ("condition", "key", "problem"),
    [
        ({"rating": "neutral", "is": ["isolated"]}, "when[0].rating", "'neutral' is no choice and no number"),
        ({"rating": "standards", "is": ["x"]}, "when[0].rating", "'standards' is no choice and no number"),
        ({"rating": "neutral_earthing", "is": ["open"]}, "when[0].is[0]", "'open' is none of its choices"),
        ({"rating": "neutral_earthing", "is": []}, "when[0].is", "[] should be non-empty"),
        ({"rating": "highest_voltage_kv", "is": ["low"]}, "when[0].is", "is not a range"),
        ({"rating": "highest_voltage_kv", "is": [72.5, 7.2]}, "when[0].is", "is not a range"),
        ({"rating": "highest_voltage_kv", "is": [7.2]}, "when[0].is", "is not a range"),
    ],
)
def test_conditions_that_cannot_be_used_are_refused(condition, key, problem):
    tree = transformers()
    tree["values"][0]["when"] = [condition]
    refused = refusal(tree, "own.toml")
    assert refused.key == f"values[0].{key}"
    assert refused.problem.startswith(problem)


def test_one_name_under_equal_conditions():
    tree = transformers()
    tree["values"][1]["when"] = tree["values"][0]["when"]
    assert str(refusal(tree, "own.toml")).startswith("own.toml: values[1].name: 'first_test_kv' stands twice")


def switchgear() -> dict:
    return tomllib.loads((SHIPPED / "ieee_c37_20_3_2013.toml").read_text(encoding="utf-8"))


def test_rows_out_of_order():
    tree = switchgear()
    tree["levels"][0]["rows"].reverse()
    assert refusal(tree, "own.toml").key == "levels[0].rows[1].highest_voltage_kv"


def test_equal_rows():
    tree = switchgear()
    tree["levels"][0]["rows"].insert(0, tree["levels"][0]["rows"][0])
    assert str(refusal(tree, "own.toml")) == "own.toml: levels[0].rows[1]: stands twice; leave one of the two out"


def test_impulse_level_below_the_power_frequency_level():
    tree = switchgear()
    tree["levels"][0]["rows"][0]["lightning_impulse_kv"] = [6.0]
    assert refusal(tree, "own.toml").key == "levels[0].rows[0].lightning_impulse_kv"


@pytest.mark.parametrize(
    ("name", "change", "problem"),
    [
        ("colour", {}, "'colour' is no procedure of this pack"),
        ("capacitance_before", {"arrangement": "terminals_to_case"}, "measures something else"),
        ("terminal_to_case", {}, "measures something else"),
        ("capacitance_before", {"order": 150}, "is not made earlier"),
        ("capacitance_after", {}, "is not made earlier"),
    ],
)
def test_comparisons_with_what_is_no_earlier_measurement(name, change, problem):
    tree = tomllib.loads((SHIPPED / "ieee_18_2012.toml").read_text(encoding="utf-8"))
    by_name = {one["name"]: one for one in tree["procedures"]}
    by_name["capacitance_before"] |= change
    by_name["capacitance_after"]["compared_with"] = name
    refused = refusal(tree, "own.toml")
    assert refused.key.endswith(".compared_with")
    assert problem in refused.problem


def test_nothing_in_the_pack():
    tree = agreed() | {"procedures": []}
    assert refusal(tree, "own.toml").key == "procedures"


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (b"format = ", "is not TOML: Invalid value (at end of document)"),
        (b"\xff", "is not TOML: "),
        (b"a = 1\na = 2", "is not TOML: Cannot overwrite a value"),
        (b"a = " + b"[" * 50_000, "is not TOML: "),
        (b" " * 2_000_001, "has 2000001 bytes"),
    ],
)
def test_not_toml(content, problem):
    with pytest.raises(PackError) as refused:
        read_pack(content, "own.toml")
    assert refused.value.problem.startswith(problem)


def in_format_1(tree):
    """Give a pack of format 2 as format 1 would have written it."""
    old = copy.deepcopy(tree) | {"format": 1}
    old["applies"]["not_planned"] = [one["test"] for one in tree["applies"]["not_planned"]]
    for procedure in old["procedures"]:
        for key in ("altitude", "acceptance", "compared_with"):
            procedure.pop(key, None)
        for stage in procedure["stages"]:
            stage.pop("wave", None)
    return old


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_pack_of_format_1_is_still_read(path):
    """A laboratory's own pack is frozen by its confirmation, so it is read as it was written."""
    tree = tomllib.loads(path.read_text(encoding="utf-8"))
    made = brought_up(in_format_1(tree))
    checked(made, path.name)
    assert [one["test"] for one in made["applies"]["not_planned"]] == [
        one["test"] for one in tree["applies"]["not_planned"]
    ]
    assert [one["name"] for one in made["procedures"]] == [one["name"] for one in tree["procedures"]]
    assert {one["altitude"]["use"] for one in made["procedures"] if "altitude" in one} <= {"none"}
    assert brought_up(tree) is tree


@pytest.mark.parametrize("tree", [{"format": True}, {"format": 1, "applies": 7, "procedures": "x"}, {"format": 3}])
def test_what_is_no_pack_in_format_1_is_refused_as_ever(tree):
    with pytest.raises(PackError) as refused:
        check_structure(brought_up(tree), "own.toml")
    assert refused.value.key


def test_shipped_packs_ship_unconfirmed_and_say_who_transcribed():
    assert [pack.name for pack in PACKS if pack.confirmed_by or not pack.transcribed_by] == []
    assert {
        reason.confidence for pack in PACKS for table in pack.tables for reason in (row.reason for row in table.rows)
    } <= set(CONFIDENCES)


def test_digest_is_that_of_the_file():
    assert [pack.sha256 for pack in PACKS] == [hashlib.sha256(path.read_bytes()).hexdigest() for path in FILES]


def test_schema_and_vocabulary_agree():
    parts_of = pack_schema()["$defs"]
    assert parts_of["equipment"]["enum"] == list(EQUIPMENT_KINDS)
    assert parts_of["procedure"]["properties"]["kind"]["enum"] == list(STEP_KINDS)
    assert parts_of["procedure"]["properties"]["class"]["enum"] == list(TEST_CLASSES)
    assert parts_of["confidence"]["enum"] == list(CONFIDENCES)
