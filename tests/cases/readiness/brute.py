"""What a list of cases finds, by going through every outcome of every case: slow, and plain to check.

Written from the rules of the trade alone, straight from the rows; it shares no arithmetic with the planner.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from itertools import product

from cases.bookings.models import Case
from cases.forecasts.learnt import ErrorLaws
from cases.forecasts.sizes import ASSUMED_SECONDS
from cases.reservations.models import Hold, SetHold
from trays.catalogue.models import Component, FitRule
from trays.instruments.models import DesignServes, InstrumentSet
from trays.stock.models import Unit


@dataclass(frozen=True)
class Outcome:
    """What one case turns out to take: components, and the designs that may serve each need."""

    p: float
    unknown: bool
    components: tuple[int, ...]
    needs: tuple[tuple[int, ...], ...]


def folded(low: int, high: int, offsets: tuple[float, ...], n: int) -> list[float]:
    chances = [0.0] * n
    half = len(offsets) // 2
    for planned in range(low, high + 1):
        for place, p in enumerate(offsets):
            used = planned + place - half
            chances[min(max(used, 0), n - 1)] += p / (high - low + 1)
    return chances


def outcomes(case: Case, errors: ErrorLaws) -> list[Outcome]:
    """Every combination of one construct's slots that the rules allow, with its chance."""
    construct = case.constructs.get()
    slots = list(construct.slots.select_related("plan_slot").order_by("plan_slot__number"))
    laws = [list(_slot_outcomes(slot, construct.side, errors)) for slot in slots]
    links = [(link.slot_a_id, link.slot_b_id) for link in case.plan.links.all()]
    place = {slot.plan_slot_id: number for number, slot in enumerate(slots)}
    rules = list(FitRule.objects.filter(valid_from__lte=case.list.day).order_by("valid_from"))
    needs = [
        [
            (option.design_id, list(DesignServes.objects.filter(design=option.design)))
            for option in need.options.order_by("number")
        ]
        for need in case.plan.set_needs.order_by("number")
    ]
    found = []
    for combination in product(*laws):
        p, unknown = 1.0, False
        for _, chance in combination:
            p *= chance
        for a, b in links:
            one, two = combination[place[a]][0], combination[place[b]][0]
            if one is None or two is None:
                continue
            verdict = _verdict(one, two, rules)
            if verdict == "refused":
                p = 0.0
            unknown = unknown or verdict is None
        if p > 0:
            drawn = [component for component, _ in combination if component is not None]
            served = tuple(_served(options, drawn) for options in needs)
            found.append(Outcome(p, unknown, tuple(c.pk for c in drawn), served))
    total = sum(one.p for one in found)
    return [Outcome(one.p / total, one.unknown, one.components, one.needs) for one in found]


def _slot_outcomes(slot, side, errors: ErrorLaws) -> Iterator[tuple[Component | None, float]]:
    components = [c for c in slot.family.components.all() if c.side in (side, "none")]
    n = 1 + max(c.size_rank for c in components)
    prediction = slot.predictions.order_by("-made_at", "-pk").first()
    if slot.plan_slot.predicted and prediction:
        law = errors.of(slot.plan_slot.code, prediction.method, prediction.planner_id)
        sizes = folded(prediction.low_rank, prediction.high_rank, law.offsets, n)
    else:
        sizes = [1 / n] * n
    seconds = 1 + max(c.second_rank for c in components)
    shape = ASSUMED_SECONDS[:seconds] if seconds > 1 else (1.0,)
    use = slot.plan_slot.use
    if use < 1:
        yield None, 1 - use
    for c in components:
        yield c, use * sizes[c.size_rank] * shape[c.second_rank] / sum(shape)


def _verdict(one: Component, two: Component, rules: list[FitRule]) -> str | None:
    """The newest row for the two sizes, filed in either order; None where there is none."""
    wanted = {(one.family_id, one.size_rank, two.family_id, two.size_rank)}
    wanted |= {(two.family_id, two.size_rank, one.family_id, one.size_rank)}
    rows = [r for r in rules if (r.family_a_id, r.rank_a, r.family_b_id, r.rank_b) in wanted]
    return rows[-1].verdict if rows else None


def _served(options: list[tuple[int, list[DesignServes]]], drawn: list[Component]) -> tuple[int, ...]:
    """Designs of a need that serve all that is drawn, in order."""
    return tuple(
        design
        for design, rows in options
        if all(
            row.first_rank <= c.size_rank <= row.last_rank
            for row in rows
            for c in drawn
            if c.family_id == row.family_id
        )
    )


class Shelf:
    """Units and sets as they stand, one by one."""

    def __init__(self) -> None:
        holds = {hold.unit_id: hold for hold in Hold.objects.filter(ended_at__isnull=True)}
        self.units = [
            (
                unit.pk,
                unit.component_id,
                unit.expires,
                holds[unit.pk].case_id if unit.pk in holds else None,
                holds[unit.pk].list_id if unit.pk in holds else None,
            )
            for unit in Unit.objects.filter(state__in=Unit.ON_HAND)
        ]
        self.sets = [
            (one.pk, one.version.design_id) for one in InstrumentSet.objects.select_related("version")
        ]
        self.set_holds = list(SetHold.objects.filter(ended_at__isnull=True))


def walk(cases: list[Case], errors: ErrorLaws) -> dict[int, tuple[float, float]]:
    """Per case P(covered), unknown outcomes counted as short, and as covered.

    A case takes all it needs or, if anything is missing, nothing. Own units first, then the list's, then free
    ones, first expired first. A set comes back its turnaround after the case.
    """
    shelf = Shelf()
    laws = {case.pk: outcomes(case, errors) for case in cases}
    answer = {case.pk: [0.0, 0.0] for case in cases}

    def go(number: int, p: float, gone: frozenset[int], out: tuple[tuple[int, object], ...]) -> None:
        if number == len(cases):
            return
        case = cases[number]
        gathered: dict[tuple[frozenset[int], tuple[tuple[int, object], ...]], float] = {}
        for one in laws[case.pk]:
            taken = _take(shelf, case, one, gone, out)
            if taken is not None:
                answer[case.pk][0] += 0.0 if one.unknown else p * one.p
                answer[case.pk][1] += p * one.p
                key = (gone | taken[0], (*out, *taken[1]))
            else:
                # Short: it takes nothing; an outcome with no rule on file is unknown either way.
                answer[case.pk][1] += p * one.p if one.unknown else 0.0
                key = (gone, out)
            gathered[key] = gathered.get(key, 0.0) + one.p
        for (gone_now, out_now), share in gathered.items():
            go(number + 1, p * share, gone_now, out_now)

    go(0, 1.0, frozenset(), ())
    return {pk: (low, high) for pk, (low, high) in answer.items()}


def _take(shelf: Shelf, case: Case, one: Outcome, gone, out):
    taken: set[int] = set()
    for component in one.components:
        fitting = [
            (0 if held == case.pk else 1 if on_list == case.list_id else 2, expires is None, expires, pk)
            for pk, its, expires, held, on_list in shelf.units
            if its == component
            and pk not in gone
            and pk not in taken
            and (expires is None or expires >= case.list.day)
            and held in (None, case.pk)
            and on_list in (None, case.list_id)
        ]
        if not fitting:
            return None
        taken.add(min(fitting, key=lambda row: (row[0], row[1], row[2] or case.list.day))[3])
    end = case.starts_at + timedelta(minutes=case.minutes)
    back = end + timedelta(minutes=case.site.turnaround_minutes)
    used: list[tuple[int, object]] = []
    for designs in one.needs:
        free = None
        for design in designs:
            for pk, its in shelf.sets:
                away = any(other == pk and until > case.starts_at for other, until in (*out, *used))
                held = any(
                    hold.set_id == pk
                    and hold.case_id != case.pk
                    and hold.list_id != case.list_id
                    and hold.starts_at < back
                    and hold.ends_at > case.starts_at
                    for hold in shelf.set_holds
                )
                if its == design and not away and not held:
                    free = pk
                    break
            if free is not None:
                break
        if free is None:
            return None
        used.append((free, back))
    return frozenset(taken), tuple(used)
