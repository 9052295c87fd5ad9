"""The examples in the docstrings run and say what they promise."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import equipment.metrology

MODULES = [found.name for found in pkgutil.iter_modules(equipment.metrology.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_examples(name):
    outcome = doctest.testmod(importlib.import_module(f"equipment.metrology.{name}"))
    assert outcome.failed == 0


def test_examples_are_there():
    assert len(MODULES) >= 14
