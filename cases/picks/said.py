"""What a list said when it was made, kept with it: levels, reasons, the size run, what was not on site.

Stock moves on and the forecast with it; a list that is on a trolley must still read as it was printed.
Plain values for a JSON column, written and read here only.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from django.utils.translation import gettext as _

from cases.picks.gather import Absent, name_words
from cases.readiness.kinds import WORST_LAST, CaseVerdict, Level, PickPlan, PickSlot, Word
from trays.catalogue.models import Component
from trays.catalogue.words import size_words

FORMAT = 1


@dataclass(frozen=True, slots=True)
class SaidCell:
    """One size of a run; `group` is "" when it is not on the list."""

    size: str
    chance: float | None
    group: str
    minimum: bool
    missing: bool


@dataclass(frozen=True, slots=True)
class SaidRun:
    """One row of the run: a slot of one side and one family (and, for inserts, one size)."""

    label: str
    side: str
    unit: str
    cells: tuple[SaidCell, ...]


@dataclass(frozen=True, slots=True)
class Said:
    """All of it. `on_site` is None for a case that the plan of the coming days does not hold."""

    position: int
    in_room: Level
    on_site: Level | None
    reasons: tuple[str, ...]
    minimum_added: str
    runs: tuple[SaidRun, ...]
    absent: tuple[Absent, ...]

    @property
    def worse(self) -> Word:
        """The worse of the two levels; one that nobody computed is not known."""
        on_site = self.on_site.word if self.on_site else Word.UNKNOWN
        return max(self.in_room.word, on_site, key=WORST_LAST.index)

    def as_json(self) -> dict[str, Any]:
        """Plain values for the column."""
        return {"format": FORMAT, **asdict(self)}

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> Said:
        """The same again. Raises ValueError for a format that this program does not know."""
        if kept.get("format") != FORMAT:
            raise ValueError(f"a pick list of format {kept.get('format')!r} cannot be read")
        on_site = kept["on_site"]
        return cls(
            position=kept["position"],
            in_room=level_from(kept["in_room"]),
            on_site=level_from(on_site) if on_site else None,
            reasons=tuple(kept["reasons"]),
            minimum_added=kept["minimum_added"],
            runs=tuple(
                SaidRun(run["label"], run["side"], run["unit"], tuple(SaidCell(**c) for c in run["cells"]))
                for run in kept["runs"]
            ),
            absent=tuple(Absent(**absent) for absent in kept["absent"]),
        )


def level_from(kept: Mapping[str, Any]) -> Level:
    """A level as the column keeps it."""
    return Level(**{**kept, "word": Word(kept["word"])})


def said_of(
    *,
    plan: PickPlan,
    verdict: CaseVerdict | None,
    absent: Iterable[Absent],
    position: int,
    holds_good: bool,
) -> Said:
    """Put together what the new list says. One query: the sizes of the families on it.

    Unless the plan `holds_good`, its chance was computed with things that are not on the list: nobody knows
    the level then, and the first reason says so.
    """
    told = tuple(Absent(name=sentence) for sentence in plan.missing)
    # On site only: what the verdict says of the room is about what was held before this list.
    reasons = verdict.reasons if verdict else ()
    in_room = plan.in_room
    if not holds_good:
        in_room = Level(Word.UNKNOWN, 0.0, False, in_room.wanted, 1.0)
        reasons = (_("Others took what was planned while the list was made: make it again."), *reasons)
    return Said(
        position=position,
        in_room=in_room,
        on_site=verdict.on_site if verdict else None,
        reasons=tuple(dict.fromkeys(reasons)),
        minimum_added=plan.minimum_added,
        runs=_runs(plan, verdict, tuple(absent)),
        absent=(*absent, *told),
    )


def _runs(plan: PickPlan, verdict: CaseVerdict | None, absent: tuple[Absent, ...]) -> tuple[SaidRun, ...]:
    listed = {size.component_id for slot in plan.slots for size in slot.sizes}
    of_families = Component.objects.filter(family__components__in=listed).distinct()
    by_family: dict[tuple[int, str], list[Component]] = {}
    known: dict[int, Component] = {}
    for one in of_families.select_related("family").order_by("family", "side", "size_rank", "second_rank"):
        by_family.setdefault((one.family_id, one.side), []).append(one)
        known[one.pk] = one
    lacking = {(gone.name, gone.size, gone.side) for gone in absent}
    chances = {slot.slot_id: dict(slot.chances) for slot in verdict.slots} if verdict else {}
    runs: list[SaidRun] = []
    for slot in plan.slots:
        families = dict.fromkeys(
            (known[size.component_id].family_id, known[size.component_id].side) for size in slot.sizes
        )
        for number, family in enumerate(families):
            runs += _rows(slot, by_family[family], chances.get(slot.slot_id, {}), lacking, first=number == 0)
    return tuple(runs)


def _rows(
    slot: PickSlot,
    sizes: list[Component],
    chances: Mapping[int, float],
    lacking: set[tuple[str, str, str]],
    *,
    first: bool,
) -> Iterable[SaidRun]:
    # A second family of the slot (a contingency) goes by its own name.
    label = slot.label if first else sizes[0].family.name
    listed = {size.component_id: size for size in slot.sizes}

    def cell(one: Component, words: str, within: bool) -> SaidCell:
        size = listed.get(one.pk)
        gone = size is not None and (name_words(one), size_words(one), one.side) in lacking
        return SaidCell(
            size=words,
            chance=size.chance if size else chances.get(one.pk),
            group=size.group if size else "",
            minimum=bool(size and size.site_minimum),
            missing=gone or (within and size is None),
        )

    if not any(one.second for one in sizes):
        yield SaidRun(label, slot.side, "", _cells(sizes, listed, cell, lambda one: one.size))
        return
    for rank in sorted({one.size_rank for one in sizes if one.pk in listed}):
        row = [one for one in sizes if one.size_rank == rank]
        unit = sizes[0].family.second_measure
        cells = _cells(row, listed, cell, lambda one: one.second)
        yield SaidRun(f"{label} {row[0].size}", slot.side, unit, cells)


def _cells(row: list[Component], listed: Mapping[int, Any], cell: Any, words: Any) -> tuple[SaidCell, ...]:
    on_list = [place for place, one in enumerate(row) if one.pk in listed]
    first, last = (on_list[0], on_list[-1]) if on_list else (0, -1)
    return tuple(cell(one, words(one), first <= place <= last) for place, one in enumerate(row))
