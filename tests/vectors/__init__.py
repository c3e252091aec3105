"""Runs any folder of oracle vectors (schema: README.md) against `cases.planning` and says what was compared.

Kinds that the planner does not answer yet are counted and named, never passed over in silence.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.vectors import checks, checks_learning, checks_levels, checks_sets

HERE = Path(__file__).parent

Vector = dict[str, Any]

RUN: dict[str, Callable[[Vector, Vector], Iterator[str]]] = {
    "q1": checks.one_case,
    "q2": checks.shared_list,
    "q4_alloc": checks_levels.a_budget,
    "q4_level": checks.item_level,
    "q6": checks_sets.day_of_sets,
    "q7": checks_learning.learnt,
    "q7_size": checks.sizes,
}
"""Kind -> check of (input, answer); it yields one sentence for each difference."""


class BadFolderError(Exception):
    """A folder that holds no vectors of this schema."""


@dataclass(frozen=True)
class FileReport:
    """One file: vectors passed, or why they were not run, and each difference found."""

    name: str
    kind: str
    count: int
    run: bool
    failures: tuple[str, ...]

    def line(self) -> str:
        """The report in one line."""
        if not self.run:
            return f"{self.name}: {self.count} vectors of kind {self.kind}: not run here"
        failed = len({failure.split(":", 1)[0] for failure in self.failures})
        return f"{self.name}: {self.count - failed} of {self.count} vectors of kind {self.kind} agree"


def read_folder(folder: Path) -> list[tuple[str, Vector]]:
    """All files of a folder, sorted by name, as (name, content).

    Raises
    ------
    BadFolderError
        No such folder, no vectors in it, or a file of another schema.
    """
    if not folder.is_dir():
        raise BadFolderError(f"{folder} is not a folder.")
    found = []
    for path in sorted(folder.glob("*.json")):
        try:
            content = json.loads(path.read_text(encoding="utf-8"))
        except (ValueError, OSError) as fault:
            raise BadFolderError(f"{path.name} cannot be read as JSON: {fault}") from fault
        found.append((path.name, _checked(path.name, content)))
    if not found:
        raise BadFolderError(f"{folder} holds no vectors.")
    return found


def _checked(name: str, content: object) -> Vector:
    if not isinstance(content, dict) or not isinstance(content.get("vectors"), list):
        raise BadFolderError(f"{name} has no list of vectors.")
    vectors = content["vectors"]
    if not isinstance(content.get("kind"), str) or content.get("count") != len(vectors):
        raise BadFolderError(f"{name}: its kind is missing or its count is not the number of its vectors.")
    for vector in vectors:
        if not isinstance(vector, dict) or not {"id", "input", "answer"} <= vector.keys():
            raise BadFolderError(f"{name}: a vector lacks id, input or answer.")
    return content


def differences(kind: str, vector: Vector) -> list[str]:
    """Each difference between the planner and one vector, in a sentence that begins with its id."""
    try:
        return [f"{vector['id']}: {text}" for text in RUN[kind](vector["input"], vector["answer"])]
    except (KeyError, TypeError, IndexError, ValueError) as fault:
        return [f"{vector['id']}: could not be run: {type(fault).__name__}: {fault}"]


def run_folder(folder: Path) -> list[FileReport]:
    """Run all vectors of a folder (errors as `read_folder`)."""
    reports = []
    for name, content in read_folder(folder):
        kind, vectors = content["kind"], content["vectors"]
        failures: list[str] = []
        if kind in RUN:
            for vector in vectors:
                failures += differences(kind, vector)
        reports.append(FileReport(name, kind, len(vectors), kind in RUN, tuple(failures)))
    return reports
