"""The rooms keep their order, their models are gathered, and each is on the map."""

import importlib
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from django.apps import apps
from django.db.migrations.loader import MigrationLoader
from django.db.models import Model

from tests.boundaries.tree import ALL_ROOMS, HALVES, ROOT, project_files, rooms

LONGEST_FILE = 450


def models_of(half: str, room: str) -> set[type[Model]]:
    """The models that a room's models.py defines itself, or a models_<subject>.py beside it."""
    found: set[type[Model]] = set()
    for path in (ROOT / half / room).glob("models*.py"):
        name = f"{half}.{room}.{path.stem}"
        classes = {value for value in vars(importlib.import_module(name)).values() if isinstance(value, type)}
        found |= {value for value in classes if issubclass(value, Model) and value.__module__ == name}
    return {model for model in found if not model._meta.abstract}


@pytest.mark.parametrize("half", HALVES)
def test_the_half_gathers_the_models_of_all_its_rooms(half: str) -> None:
    gathered = importlib.import_module(f"{half}.models")
    in_rooms = {model.__name__ for room in rooms(half) for model in models_of(half, room)}
    assert set(gathered.__all__) == in_rooms
    assert {name for name in in_rooms if not hasattr(gathered, name)} == set()


@pytest.mark.parametrize("half", HALVES)
def test_every_model_of_the_half_lives_in_the_models_file_of_a_room(half: str) -> None:
    strays = [
        f"{model.__module__}.{model.__name__}"
        for model in apps.get_app_config(half).get_models()
        if not re.fullmatch(rf"{half}\.[a-z]+\.models(_[a-z]+)?", model.__module__)
    ]
    assert strays == []


@pytest.mark.parametrize(("half", "room"), ALL_ROOMS)
def test_the_room_has_its_line_on_the_map(half: str, room: str) -> None:
    lines = (ROOT / "DEVELOPERS.md").read_text().splitlines()
    assert any(re.search(rf"\b{half}/{room}\b", line) for line in lines)


@pytest.mark.parametrize("half", HALVES)
def test_every_room_has_its_place_in_the_order(half: str) -> None:
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"]
    (order,) = (contract["layers"] for contract in contracts if contract.get("containers") == [half])
    assert sorted(order) == rooms(half)


def test_imports_run_downward_only() -> None:
    lint = subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert lint.returncode == 0, lint.stdout + lint.stderr


@pytest.mark.parametrize("half", HALVES)
def test_the_half_has_one_last_migration(half: str) -> None:
    leaves = MigrationLoader(None).graph.leaf_nodes(half)
    assert len(leaves) == 1, leaves


def test_no_file_of_the_program_has_outgrown_its_room() -> None:
    ours = [
        path
        for path in project_files()
        if path.suffix == ".py" and path.parts[0] in {*HALVES, "config"} and "migrations" not in path.parts
    ]
    assert ours, "no file was looked at"
    lengths = {str(path): len((ROOT / path).read_text().splitlines()) for path in ours}
    assert {path: lines for path, lines in lengths.items() if lines > LONGEST_FILE} == {}
