"""Reading what a theatre needs to see of its cases before it counts: what is in the room, what is missing."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from django.db.models import F
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts.models_counts import PackIn, Stage, StageState, TheatreCount
from cases.picks.gather import name_words
from cases.picks.models import PackFor, PickLine
from cases.picks.said import Said
from trays.catalogue.words import side_word, size_words
from trays.instruments.queries import set_facts
from trays.instruments.ready import PackFacts
from trays.places.models import Place


@dataclass(frozen=True, slots=True)
class PackHere:
    """One pack of the case: opened, in_room, picked or to_pick; `lacks` in words, "" when it is complete."""

    pk: int
    number: str
    tray: int
    state: str
    lacks: str

    @property
    def word(self) -> str:
        return {
            "opened": _("opened"),
            "in_room": _("in the room"),
            "picked": _("on the trolley"),
            "to_pick": _("not picked"),
        }[self.state]

    @property
    def here(self) -> bool:
        return self.state in ("opened", "in_room")


@dataclass(frozen=True, slots=True)
class SetHere:
    """A set that the case has, with its packs in order."""

    code: str
    name: str
    packs: tuple[PackHere, ...]


@dataclass(frozen=True, slots=True)
class SizeHere:
    """One size of a family: how many are picked, of how many on the list."""

    size: str
    picked: int
    wanted: int


@dataclass(frozen=True, slots=True)
class SizesHere:
    """A family's sizes, on one side."""

    name: str
    side: str
    sizes: tuple[SizeHere, ...]


@dataclass(frozen=True, slots=True)
class Missing:
    """Something that the case should have and has not: what, and why."""

    what: str
    why: str


@dataclass(frozen=True, slots=True)
class Room:
    """What one case has. `pick_list_id` is None where no list has been made."""

    pick_list_id: int | None = None
    sets: tuple[SetHere, ...] = ()
    sizes: tuple[SizesHere, ...] = ()
    missing: tuple[Missing, ...] = ()

    @property
    def packs(self) -> tuple[PackHere, ...]:
        return tuple(pack for one in self.sets for pack in one.packs)

    @property
    def packs_here(self) -> int:
        return sum(pack.here for pack in self.packs)

    @property
    def units(self) -> int:
        return sum(size.wanted for family in self.sizes for size in family.sizes)

    @property
    def units_picked(self) -> int:
        return sum(size.picked for family in self.sizes for size in family.sizes)

    @property
    def short(self) -> tuple[Missing, ...]:
        """Packs that lack something, which was known when they were packed."""
        return tuple(
            Missing(_("%(set)s, pack %(pack)s") % {"set": one.code, "pack": pack.number}, pack.lacks)
            for one in self.sets
            for pack in one.packs
            if pack.lacks
        )


@dataclass(frozen=True, slots=True)
class CaseToday:
    """One case of the day: its side in words, what it has, how far it is (to_come, opened, closed)."""

    case: Case
    side: str
    room: Room
    state: str

    @property
    def word(self) -> str:
        return {"to_come": _("to come"), "opened": _("under way"), "closed": _("closed")}[self.state]


@dataclass(frozen=True, slots=True)
class TheatreDay:
    """One theatre and its cases of the day, in order."""

    theatre: Place
    cases: tuple[CaseToday, ...]


def theatre_day(*, site_id: int, day: date) -> tuple[TheatreDay, ...]:
    """The day's cases by theatre, with what each has. 8 queries, whatever the number of cases.

    Cases and their sides (2), lines of the lists in force, packs that left for the cases, sets' facts (4).
    """
    rows = Case.objects.filter(site_id=site_id, list__day=day).exclude(status=Case.Status.CANCELLED)
    cases = list(
        rows.select_related("list__theatre", "procedure", "surgeon", "theatre_count")
        .prefetch_related("constructs")
        .order_by("list__theatre__walk", "list__theatre__name", "list_id", "position")
    )
    rooms = rooms_of(cases)
    return tuple(
        TheatreDay(theatre, tuple(_today(case, rooms[case.pk]) for case in own))
        for theatre, own in groupby(cases, key=lambda case: case.list.theatre)
    )


def _today(case: Case, room: Room) -> CaseToday:
    sides = [side_word(one.side) for one in sorted(case.constructs.all(), key=lambda one: one.number)]
    opened = hasattr(case, "theatre_count")
    state = "closed" if case.status == Case.Status.CLOSED else "opened" if opened else "to_come"
    return CaseToday(case, _(" and ").join(side for side in sides if side), room, state)


def packs_brought(count: TheatreCount) -> tuple[PackIn, ...]:
    """The packs that were opened for a case, with the words of their marks. One query."""
    rows = count.packs_in.select_related("pack__set__version__design", "by").order_by("number")
    return tuple(rows)


def packs_brought_in(case: Case) -> dict[int, int]:
    """The packs that were opened for a case, in the round they are in: pack -> its row. One query."""
    rows = PackIn.objects.filter(count__case=case, round=F("pack__round"))
    return dict(rows.values_list("pack_id", "pk"))


def stage_under_way(case: Case) -> int | None:
    """The stage of a case that is open now. One query."""
    return Stage.objects.filter(count__case=case, state=StageState.OPEN).values_list("pk", flat=True).first()


def rooms_of(cases: Collection[Case]) -> dict[int, Room]:
    """What each case has, by case. Six queries."""
    lines = _lines(cases)
    had = {
        (row.case_id, row.pack_id): row
        for row in PackFor.objects.filter(case__in=cases, returned_at__isnull=True).select_related(
            "pack__set__version__design"
        )
    }
    packs = [line.pack for own in lines.values() for line in own if line.pack is not None]
    packs += [row.pack for row in had.values()]
    facts = {
        pack.pk: pack
        for one in set_facts(site_ids={case.site_id for case in cases}, set_ids={p.set_id for p in packs})
        for pack in one.packs
    }
    return {case.pk: _room(case, lines.get(case.pk, []), had, facts) for case in cases}


def _lines(cases: Iterable[Case]) -> Mapping[int, list[PickLine]]:
    found: dict[int, list[PickLine]] = defaultdict(list)
    rows = PickLine.objects.filter(pick_list__case__in=cases, pick_list__replaced_at__isnull=True)
    for line in rows.select_related(
        "pick_list", "component__family", "pack__set__version__design"
    ).order_by("pick_list", "number"):
        found[line.pick_list.case_id].append(line)
    return found


def _room(
    case: Case,
    lines: Sequence[PickLine],
    had: Mapping[tuple[int, int], PackFor],
    facts: Mapping[int, PackFacts],
) -> Room:
    if not lines:
        sets = _sets(case, [], had, facts)
        return Room(sets=sets)
    return Room(
        pick_list_id=lines[0].pick_list_id,
        sets=_sets(case, lines, had, facts),
        sizes=_sizes(lines),
        missing=_missing(lines),
    )


def _sets(
    case: Case,
    lines: Sequence[PickLine],
    had: Mapping[tuple[int, int], PackFor],
    facts: Mapping[int, PackFacts],
) -> tuple[SetHere, ...]:
    """The packs of the list, and those that left for the case without standing on it."""
    picked = {line.pack_id: line.picked_at is not None for line in lines if line.pack_id}
    packs = {line.pack.pk: line.pack for line in lines if line.pack is not None}
    packs |= {row.pack_id: row.pack for (case_id, _pack), row in had.items() if case_id == case.pk}
    by_set: dict[tuple[str, str], list[PackHere]] = defaultdict(list)
    for pack in packs.values():
        row = had.get((case.pk, pack.pk))
        left = row is not None and row.round == pack.round
        state = "opened" if left and row and row.opened_at else "in_room" if left else "to_pick"
        if state == "to_pick" and picked.get(pack.pk):
            state = "picked"
        lacks = facts[pack.pk].lacks if pack.pk in facts else ()
        words = ", ".join(_("%(n)s %(what)s short") % {"n": one.missing, "what": one.name} for one in lacks)
        key = (pack.set.code, pack.set.version.design.name)
        by_set[key].append(PackHere(pack.pk, pack.number, pack.tray, state, words))
    return tuple(
        SetHere(code, name, tuple(sorted(own, key=lambda one: one.tray)))
        for (code, name), own in sorted(by_set.items())
    )


def _sizes(lines: Sequence[PickLine]) -> tuple[SizesHere, ...]:
    counts: dict[tuple[str, str], dict[tuple[int, int, str], list[int]]] = defaultdict(dict)
    for line in lines:
        if line.unit_id is None or line.component is None:
            continue
        one = line.component
        sizes = counts[one.family.name, side_word(one.side)]
        tally = sizes.setdefault((one.size_rank, one.second_rank, size_words(one) or one.name), [0, 0])
        tally[0] += line.picked_at is not None
        tally[1] += 1
    return tuple(
        SizesHere(
            name, side, tuple(SizeHere(size, *tally) for (_a, _b, size), tally in sorted(sizes.items()))
        )
        for (name, side), sizes in counts.items()
    )


def _missing(lines: Sequence[PickLine]) -> tuple[Missing, ...]:
    """What the list could not find, then what nobody has picked."""
    said = Said.from_json(lines[0].pick_list.said)
    found = [
        Missing(_joined(one.name, one.size, side_word(one.side)), one.why or _("not on site"))
        for one in said.absent
    ]
    left: dict[tuple[str, str], list[str]] = defaultdict(list)
    for line in lines:
        if line.picked_at is None and line.pack is None and line.component is not None:
            one = line.component
            left[name_words(one), side_word(one.side)].append(size_words(one))
    for (name, side), sizes in left.items():
        words = ", ".join(size for size in sizes if size)
        found.append(Missing(_joined(name, words, side), _("not picked")))
    return tuple(found)


def _joined(*words: str) -> str:
    return " ".join(word for word in words if word)
