"""The page on the shell says what the commands take: its examples run, and it names every key and quantity."""

import json
import re
from pathlib import Path

import pytest

from equipment.metrology.budget import evaluate_budget, read_budget
from records.evaluation.kinds import KINDS
from records.evaluation.setups import CONDITIONS, parse_setup
from records.evaluation.step import parse_step
from records.evaluation.wording import KEYS
from records.readers.columns import ColumnMap
from schedules.rules import derive_plan, load_packs

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "shell.md").read_text(encoding="utf-8")
EXAMPLES = {name: json.loads(text) for name, text in re.findall(r"```json (\w+)\n(.*?)```", PAGE, re.DOTALL)}
TAKES = {
    "ratings": lambda content: derive_plan(content, packs=load_packs()).steps,
    "step": lambda content: parse_step(content).criteria,
    "columns": lambda content: ColumnMap.from_dict(content).columns,
    "setup": lambda content: parse_setup(content).instruments,
    "budget": lambda content: evaluate_budget(read_budget(content)),
}


def row_of(kind):
    return next(line for line in PAGE.splitlines() if line.startswith(f"| `{kind}` |"))


def test_each_kind_of_file_has_its_example():
    assert set(EXAMPLES) == set(TAKES)


@pytest.mark.parametrize("name", sorted(TAKES))
def test_an_example_is_taken(name):
    assert TAKES[name](EXAMPLES[name])


@pytest.mark.parametrize("kind", list(KINDS))
def test_the_table_names_what_a_kind_takes_and_nothing_else(kind):
    declared = KINDS[kind]
    keys = {key.name for key in (*declared.keys, *declared.criterion_keys)}
    staged = {key.name for key in declared.stages.keys} if declared.stages else set()
    channels = {channel for one in declared.channels for channel in one}
    said = [set(re.findall(r"`(\w+)`", cell)) for cell in row_of(kind).split("|")[2:-1]]
    assert said == [channels, staged, keys, set(declared.quantities)]


def test_the_table_of_conditions_says_what_reasons_call_them():
    said = dict(re.findall(r"^\| `(\w+)` \| (the .*) \|$", PAGE, re.MULTILINE))
    assert said == {name: KEYS[name] for name in CONDITIONS}
