"""Which components of a site must be ordered, by when, how many, and why.

The arithmetic, for one component at one site:

* **Window.** Alerts look LOOK_AHEAD working days ahead: what has to be ordered within them. The last order
  of these days arrives a lead time later, so the window ends LOOK_AHEAD + lead working days from today
  (Monday to Friday, the supplier's lead time). Stock must last until then.
* **Demand.** Each booked case in the window takes the component with the chances that readiness computes
  (none, one, two), consumables as the plan counts them; cases are independent. Unbooked work adds a
  Poisson number: use per calendar day over the last 180 days times the window, less what is booked in it,
  at least nothing. A component without use in that time has no forecast: only bookings count.
* **Holds.** A unit held for a case of the window serves that case first, so its demand falls by as many and
  the unit is not free; a list's held units serve the list's cases together. What is left of the demand
  must be met from free units. Units held for later cases, or for cases that never take the component, count
  on neither side. ``usable`` and ``wanted`` both include the held units that count, so that the gap between
  them is the gap between free stock and what is left to meet.
* **Dates.** Only units in date on the window's last day count (cautious: a unit that expires before it
  might still be used). The others are told as short-dated.
* **Level.** The least number that meets the demand with the wanted chance (`planning.replenish`, ready
  rate), and not less than the site's own least stock.
* **Order by.** The first day on which demand up to it is no longer met with the wanted chance must find the
  goods on the shelf the day before: a lead time earlier is the last day to order. If that day has
  passed, the alert says so and asks to order today.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from cases.planning import replenish
from cases.reorders.demand import Draw, ItemFacts, StockUnit, site_facts
from cases.reorders.levels import Kept, net_parts
from cases.reorders.workdays import due, later, next_workday, order_by
from trays.catalogue.models import Component, FamilyKind
from trays.parties.models import Site

LOOK_AHEAD = 5


@dataclass(frozen=True, slots=True)
class AlertRow:
    """One component below its level. Counts are whole units; `expected` are means.

    `held` of the `usable` are held for cases of the window; `kept` are held for others and count nowhere.
    `case_ids` are the booked cases that may take it, by day. `short_on` is the first day on which it may run
    out (None: only the site's own least stock is missed); `late`: no order arrives before that day.
    """

    component: Component
    tenures: tuple[str, ...]
    usable: int
    held: int
    kept: int
    short_dated: int
    wanted: int
    suggested: int
    multiple: int
    until: date
    short_on: date | None
    order_by: date
    arrives: date
    late: bool
    case_ids: tuple[int, ...]
    references: tuple[str, ...]
    expected_booked: float
    expected_unbooked: float
    forecast: bool
    least: int
    pieces: bool

    @property
    def missing(self) -> int:
        return max(0, self.wanted - self.usable)


@dataclass(frozen=True, slots=True)
class Alerts:
    """What a site must order, first to be ordered first; `looked_at` components were judged."""

    site_id: int
    day: date
    rows: tuple[AlertRow, ...]
    looked_at: int
    without_forecast: int


def alerts(*, site: Site, at: datetime) -> Alerts:
    """Judge every component that booked cases, past use or a stock rule of the site ask for."""
    facts = site_facts(site=site, at=at)
    judged = [judge(item, day=facts.day) for item in facts.items]
    rows = [_named(row, facts.references) for row in judged if row is not None]
    rows.sort(key=lambda row: (row.order_by, not row.late, row.short_on or row.until, row.component.code))
    return Alerts(
        site_id=site.pk,
        day=facts.day,
        rows=tuple(rows),
        looked_at=len(facts.items),
        without_forecast=sum(1 for item in facts.items if item.rate is None),
    )


def judge(item: ItemFacts, *, day: date) -> AlertRow | None:
    """The alert for one component, or None when its stock meets what is asked for."""
    lead = item.component.supplier.lead_working_days
    until = due(later(day, LOOK_AHEAD), lead)
    view = look(item, day=day, until=until)
    if view.level <= view.free:
        return None
    short_on = _short_on(item, day=day, until=until)
    today = next_workday(day)
    # Below the site's own least stock only: nothing runs out, so today is early enough.
    latest = order_by(short_on, lead) if short_on else today
    ids = [draw.case_id for draw in view.draws]
    multiple = item.component.order_multiple
    return AlertRow(
        component=item.component,
        tenures=view.tenures,
        usable=view.free + view.held,
        held=view.held,
        kept=view.kept,
        short_dated=view.short_dated,
        wanted=view.level + view.held,
        suggested=replenish.suggest(view.free, 0, view.level, multiple),
        multiple=multiple,
        until=until,
        short_on=short_on,
        order_by=max(latest, today),
        arrives=due(today, lead),
        late=latest < today,
        case_ids=tuple(ids),
        references=(),
        expected_booked=view.booked,
        expected_unbooked=view.unbooked,
        forecast=item.rate is not None,
        least=item.least,
        pieces=item.component.family.kind == FamilyKind.CONSUMABLE,
    )


@dataclass(frozen=True, slots=True)
class View:
    """One component as it stands until one day: what is free and held, and what must be met from free units.

    `asked` meets the demand, `level` also the site's own least stock.
    """

    free: int
    held: int
    kept: int
    short_dated: int
    tenures: tuple[str, ...]
    draws: tuple[Draw, ...]
    booked: float
    unbooked: float
    asked: int
    level: int


def look(item: ItemFacts, *, day: date, until: date) -> View:
    """Free units, held units and the level of the demand from `day` until `until`, both days included."""
    draws = tuple(draw for draw in item.draws if draw.day <= until)
    held = held_units(item.units, draws)
    counted = {id(unit) for units in held.values() for unit in units}
    free = sum(1 for unit in item.units if unit.free and unit.in_date(until))
    pieces = sum(pile.pieces for pile in item.piles if pile.in_date(until))
    booked = sum(draw.mean for draw in draws)
    days = (until - day).days + 1
    unbooked = max(0.0, (item.rate or 0.0) * days - booked)
    sure, parts = net_parts(draws, _kept(held))
    asked = sure + replenish.level(replenish.demand(parts, unbooked), item.wanted)
    stale = [unit for unit in item.units if id(unit) not in counted and not unit.in_date(until)]
    old_pieces = sum(pile.pieces for pile in item.piles if not pile.in_date(until))
    held_now = len(counted)
    return View(
        free=free + pieces,
        held=held_now,
        kept=sum(1 for unit in item.units if not unit.free) - held_now,
        short_dated=len(stale) + old_pieces,
        tenures=tuple(
            unit.tenure for unit in item.units if id(unit) in counted or (unit.free and unit.in_date(until))
        ),
        draws=draws,
        booked=booked,
        unbooked=unbooked,
        asked=asked,
        level=max(asked, item.least),
    )


Keeper = tuple[str, int]


def held_units(units: Sequence[StockUnit], draws: Sequence[Draw]) -> dict[Keeper, list[StockUnit]]:
    """The held units that count, by keeper: held for a case (or list) that draws, and in date on its day.

    A case never takes more than two, a list not more than two for each of its cases.
    """
    case_days = {draw.case_id: draw.day for draw in draws}
    list_days: dict[int, list[date]] = defaultdict(list)
    for draw in draws:
        if draw.list_id is not None:
            list_days[draw.list_id].append(draw.day)
    found: dict[Keeper, list[StockUnit]] = defaultdict(list)
    for unit in units:
        if unit.case_id in case_days and unit.in_date(case_days[unit.case_id]):
            found[("case", unit.case_id)].append(unit)
        elif unit.list_id in list_days and unit.in_date(max(list_days[unit.list_id])):
            found[("list", unit.list_id)].append(unit)
    most = {key: 2 if key[0] == "case" else 2 * len(list_days[key[1]]) for key in found}
    return {key: kept[: most[key]] for key, kept in found.items()}


def _kept(held: dict[Keeper, list[StockUnit]]) -> Kept:
    return Kept(
        cases={key[1]: len(units) for key, units in held.items() if key[0] == "case"},
        lists={key[1]: len(units) for key, units in held.items() if key[0] == "list"},
    )


def _short_on(item: ItemFacts, *, day: date, until: date) -> date | None:
    """The first day up to which the demand is not met with the wanted chance; None when it always is."""
    for ahead in range((until - day).days + 1):
        here = day + timedelta(days=ahead)
        view = look(item, day=day, until=here)
        if view.asked > view.free:
            return here
    return None


def _named(row: AlertRow, references: Mapping[int, str]) -> AlertRow:
    named = tuple(references[case_id] for case_id in row.case_ids if case_id in references)
    return replace(row, references=named)
