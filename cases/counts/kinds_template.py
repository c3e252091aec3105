"""A way of counting as plain values, before it is written: from the program's file, an import or a form."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from cases.counts.models_templates import CountClass, StageKind, StepKind, StepWhen
from trays.staff.models import RoleKind

START_FILE = Path(__file__).parent / "start" / "count-templates.csv"
SEATS = (RoleKind.SCRUB_NURSE, RoleKind.CIRCULATING_NURSE, RoleKind.SURGEON)
"""Who may be asked to sign a stage."""
MADE_WHEN_NEEDED = (StageKind.HAND_OVER, StageKind.EXTRA)


@dataclass(frozen=True, slots=True)
class StagePlan:
    """One stage of a template."""

    mark: str
    word: str
    kind: str
    when: str
    signers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ClassPlan:
    """One class in running order; `stages` are numbers of stages, empty for all."""

    klass: str
    word: str
    keys: tuple[int, ...]
    stages: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class StepPlan:
    """One step of a discrepancy."""

    kind: str
    words: str
    when: str


@dataclass(frozen=True, slots=True)
class TemplatePlan:
    """A whole template."""

    code: str
    name: str
    direction: str
    stages: tuple[StagePlan, ...]
    classes: tuple[ClassPlan, ...]
    steps: tuple[StepPlan, ...]


def plan_of(code: str, rows: Iterable[Mapping[str, str]]) -> TemplatePlan:
    """The template that rows of a file make, each part in the order of its numbers."""
    ordered = sorted(rows, key=lambda row: int(row["number"]))
    parts: dict[str, list[Mapping[str, str]]] = {"template": [], "stage": [], "class": [], "step": []}
    for row in ordered:
        parts[row["part"]].append(row)
    head = parts["template"][0]
    return TemplatePlan(
        code=code,
        name=head["word"],
        direction=head["when"],
        stages=tuple(
            StagePlan(row["mark"], row["word"], row["kind"], row["when"], several(row["signers"]))
            for row in parts["stage"]
        ),
        classes=tuple(
            ClassPlan(row["kind"], row["word"], numbers(row["keys"]), numbers(row["stages"]))
            for row in parts["class"]
        ),
        steps=tuple(StepPlan(row["kind"], row["word"], row["when"]) for row in parts["step"]),
    )


def several(text: str | Sequence[str] | None) -> tuple[str, ...]:
    """The words of a cell of several."""
    words = text.split("|") if isinstance(text, str) else (text or ())
    return tuple(word.strip() for word in words if word.strip())


def numbers(text: str | Sequence[str] | None) -> tuple[int, ...]:
    """The whole numbers of a cell of several."""
    return tuple(int(word) for word in several(text))


@cache
def starts() -> tuple[TemplatePlan, ...]:
    """The templates that come with the program, in the order of its file."""
    found: dict[str, list[Mapping[str, str]]] = {}
    with START_FILE.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            found.setdefault(row["template"], []).append(row)
    return tuple(plan_of(code, rows) for code, rows in found.items())


def faults_of(plan: TemplatePlan) -> list[tuple[str, int, str]]:
    """What is wrong with a template as (part, number from 1, code); part "" is the whole."""
    faults: list[tuple[str, int, str]] = []
    kinds = [stage.kind for stage in plan.stages]
    if kinds.count(StageKind.FIRST) != 1 or kinds[:1] != [StageKind.FIRST]:
        faults.append(("", 0, "first-stage"))
    if kinds.count(StageKind.FINAL) != 1:
        faults.append(("", 0, "final-stage"))
    if not plan.classes:
        faults.append(("", 0, "no-classes"))
    for number, stage in enumerate(plan.stages, start=1):
        faults += [("stage", number, code) for code in _stage_faults(stage, kinds)]
    for number, one in enumerate(plan.classes, start=1):
        faults += [("class", number, code) for code in _class_faults(one, plan)]
    for number, step in enumerate(plan.steps, start=1):
        if step.kind not in StepKind.values or step.when not in StepWhen.values or not step.words:
            faults.append(("step", number, "step-unknown"))
    return faults


def _stage_faults(stage: StagePlan, kinds: Sequence[str]) -> list[str]:
    found = []
    if stage.kind not in StageKind.values:
        found.append("stage-kind")
    if stage.kind in MADE_WHEN_NEEDED and kinds.count(stage.kind) > 1:
        found.append("stage-kind-twice")
    if not stage.mark or not stage.word:
        found.append("stage-nameless")
    known = {str(seat) for seat in SEATS}
    if len(set(stage.signers)) < 2 or len(set(stage.signers)) != len(stage.signers):
        found.append("two-signers")
    elif not set(stage.signers) <= known:
        found.append("signer-unknown")
    return found


def _class_faults(one: ClassPlan, plan: TemplatePlan) -> list[str]:
    found = []
    if one.klass not in CountClass.values:
        found.append("class-unknown")
    if [other.klass for other in plan.classes].count(one.klass) > 1:
        found.append("class-twice")
    if not one.word:
        found.append("class-nameless")
    if any(not 1 <= stage <= len(plan.stages) for stage in one.stages):
        found.append("stage-unknown")
    if any(not 1 <= key <= 100 for key in one.keys):
        found.append("key-out-of-range")
    return found
