"""Which units will expire before they are likely to be used, and what can be done about each.

For each component the free units are put in order of their dates. Up to the date of each the demand is that
of the booked cases, less what is held for them, and of unbooked work (`demand`). Between two dates the parts
are independent, so that a pointer into the units, moved on by each part of the demand and past each unit that
has expired, gives for every unit the exact chance that it is used by its date, if the first to expire is
always used first. Where that chance is below a half the unit is likely to expire.

What is offered, the surest first:

* **Use first.** Units of the site's owner order stand before it; taken before all of them it would be used
  with the chance that there is any demand at all by its date.
* **Exchange.** It is a supplier's and within the exchange window of the agreement.
* **Move.** Another site of the hospital would use it by its date: the chance that its demand by then exceeds
  what it has in date.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

import numpy as np

from cases.planning import replenish
from cases.planning.parts import Floats
from cases.readiness.on_the_way import leaving_units
from cases.reorders.demand import Draw, ItemFacts, SiteFacts, site_facts
from cases.reorders.held import held_units, kept
from cases.reorders.levels import net_parts
from cases.reservations.models import Hold
from trays.loans.queries_agreements import exchange_window
from trays.parties.models import Site, Tenure
from trays.stock.models import Unit
from trays.stock.policies import policy_of
from trays.stock.queries import on_hand

LIKELY = 0.5
"""A unit that is used with at least this chance before it expires is let be."""
WORTH_IT = 0.05
"""An act that raises the chance by less is not offered."""


class How(StrEnum):
    """What may be done about a unit."""

    FIRST = "first"
    EXCHANGE = "exchange"
    MOVE = "move"


@dataclass(frozen=True, slots=True)
class Offer:
    """One thing that may be done: the chance that the unit is then used; the site, for a move."""

    how: How
    chance: float
    site: Site | None = None


@dataclass(frozen=True, slots=True)
class Expiring:
    """One unit, the chance that it is used by its date, and what may be done, the surest first.

    `forecast`: something is known of its use. `marked`: it is marked to be used first already.
    """

    unit: Unit
    chance: float
    expected: float
    forecast: bool
    held: bool
    marked: bool
    offers: tuple[Offer, ...]

    @property
    def likely_lost(self) -> bool:
        return not self.held and self.chance < LIKELY


def expiring_at(*, site: Site, at: datetime, others: Sequence[Site] = ()) -> tuple[Expiring, ...]:
    """Units on hand that expire within the site's warning time and not before today, first to expire first.

    `others`: sites to which units may be moved. A fixed number of queries for each site.
    """
    policy = policy_of(site.pk)
    facts = site_facts(site=site, at=at)
    last = facts.day + timedelta(days=policy.warning_days)
    rows = list(
        on_hand(site_id=site.pk)
        .filter(expires__gte=facts.day, expires__lte=last)
        .exclude(pk__in=leaving_units(site=site))
        .select_related("component__family", "component__supplier", "owner", "place")
        .order_by("expires", "component__code", "pk")
    )
    held = set(
        Hold.objects.filter(unit__in=[row.pk for row in rows], ended_at__isnull=True).values_list(
            "unit_id", flat=True
        )
    )
    windows = exchange_window(site=site, at=at)
    wanting = [_Elsewhere(other, site_facts(site=other, at=at)) for other in others]
    judge = _Judge(facts, windows, wanting, site.owner_order)
    return tuple(judge.judged(row, held=row.pk in held) for row in rows)


class _Elsewhere:
    """What another site would use of a component by a day."""

    def __init__(self, site: Site, facts: SiteFacts) -> None:
        self.site, self.day = site, facts.day
        self.items = {item.component.pk: item for item in facts.items}

    def chance(self, component_id: int, until: date) -> float:
        """The chance that the site asks for more by a day than it has in date then."""
        item = self.items.get(component_id)
        if item is None:
            return 0.0
        there = sum(1 for unit in item.units if unit.free and unit.in_date(until)) + item.on_order(until)
        law = _law(item, self.day, until)
        return float(law[there + 1 :].sum())


class _Judge:
    def __init__(
        self,
        facts: SiteFacts,
        windows: Mapping[int, int],
        elsewhere: Iterable[_Elsewhere],
        owner_order: Sequence[str],
    ) -> None:
        self.facts, self.windows, self.elsewhere = facts, windows, list(elsewhere)
        self.owner_order = list(owner_order)
        self.items = {item.component.pk: item for item in facts.items}
        self.known: dict[int, dict[date | None, list[float]]] = {}

    def judged(self, unit: Unit, *, held: bool) -> Expiring:
        item = self.items.get(unit.component_id) or ItemFacts(unit.component)
        law = _law(item, self.facts.day, _until(unit))
        expected = replenish.mean(law)
        chance = 1.0 if held else self._chance(item, unit)
        forecast = bool(item.rate) or bool(item.draws)
        offers = () if held or chance >= LIKELY else self._offers(item, unit, law, chance)
        return Expiring(unit, chance, expected, forecast, held, unit.use_first, offers)

    def _chance(self, item: ItemFacts, unit: Unit) -> float:
        """Of this date's units the next one's: units of one date are alike, the last of them is used last."""
        if item.component.pk not in self.known:
            self.known[item.component.pk] = _by_date(item, self.facts.day)
        left = self.known[item.component.pk].get(unit.expires, [])
        return left.pop(0) if left else 0.0

    def _offers(self, item: ItemFacts, unit: Unit, law: Floats, chance: float) -> tuple[Offer, ...]:
        found = []
        first = float(law[1:].sum())
        if not unit.use_first and self._stands_behind(item, unit) and first >= chance + WORTH_IT:
            found.append(Offer(How.FIRST, first))
        window = self.windows.get(unit.owner_id)
        near = window is not None and (_until(unit) - self.facts.day).days <= window
        if unit.tenure == Tenure.CONSIGNED and near:
            found.append(Offer(How.EXCHANGE, 1.0))
        for other in self.elsewhere:
            there = other.chance(unit.component_id, _until(unit))
            if there >= chance + WORTH_IT:
                found.append(Offer(How.MOVE, there, other.site))
        return tuple(sorted(found, key=lambda one: -one.chance))

    def _stands_behind(self, item: ItemFacts, unit: Unit) -> bool:
        """Whether other free units are taken before it by the site's order of owners."""
        place = {tenure: n for n, tenure in enumerate(self.owner_order)}
        own = place.get(unit.tenure, len(place))
        return any(one.free and place.get(one.tenure, len(place)) < own for one in item.units)


def _until(unit: Unit) -> date:
    """Its date; none that is looked at here is without one."""
    return unit.expires or date.max


def _by_date(item: ItemFacts, day: date) -> dict[date | None, list[float]]:
    """By date the chances that each free unit of that date is used by then, the surest first."""
    dates = sorted(
        one.expires for one in item.units if one.free and one.expires is not None and one.expires >= day
    )
    found: dict[date | None, list[float]] = defaultdict(list)
    pointer: Floats = np.ones(1)
    begins = day
    for number, until in enumerate(dates, start=1):
        if until >= begins:
            pointer = np.convolve(pointer, _law(item, begins, until))
            begins = until + timedelta(days=1)
        # The pointer counts units gone; it never stands before one that has expired.
        found[until].append(float(pointer[number:].sum()))
        if number >= len(pointer):
            pointer = np.append(pointer, np.zeros(number + 1 - len(pointer)))
        next_same = number < len(dates) and dates[number] == until
        if not next_same:
            pointer[number] += pointer[:number].sum()
            pointer[:number] = 0.0
    return found


def _law(item: ItemFacts, begins: date, until: date) -> Floats:
    """The law of the demand between two days, both included, beyond what is held for it."""
    if until < begins:
        return np.ones(1)
    draws = [draw for draw in item.draws if begins <= draw.day <= until]
    sure, parts = net_parts(draws, kept(held_units(item.units, draws)))
    law = replenish.demand(parts, _unbooked(item, begins, until, draws))
    return np.concatenate((np.zeros(sure), law)) if sure else law


def _unbooked(item: ItemFacts, begins: date, until: date, draws: Sequence[Draw]) -> float:
    """Mean use beyond what is booked in that time."""
    if not item.rate:
        return 0.0
    return max(0.0, item.rate * ((until - begins).days + 1) - sum(draw.mean for draw in draws))
