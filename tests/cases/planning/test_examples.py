"""Every example in a docstring of the planner runs and says what it says."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

from cases import planning

MODULES = sorted(module.name for module in pkgutil.iter_modules(planning.__path__))


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_run(name: str) -> None:
    found = doctest.testmod(importlib.import_module(f"cases.planning.{name}"))
    assert found.failed == 0


def test_there_are_examples() -> None:
    modules = [importlib.import_module(f"cases.planning.{name}") for name in MODULES]
    assert sum(doctest.testmod(module).attempted for module in modules) > 20
