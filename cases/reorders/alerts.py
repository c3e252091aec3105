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
* **On its way.** Pieces on open orders (drafts too) and units that another site sends count as there, so that
  nothing is asked for twice; whether they come in time is told with the day on which it may run out. An item
  that lacks nothing once they have come stands apart: nothing is to be ordered.
* **Level.** The least number with which every case of the window reaches the site's wanted chance on site,
  for all components at once (`wishes`). Consumables, which no verdict counts, last with a chance of their own
  (ready rate, `planning.replenish`), and so does a component for which the site has a rule: a chance, or the
  one at which a unit more costs as much to keep as it saves in shortages (`demand.Rule`). Never less than
  the site's own least stock. Each alert says which of these asks for it.
* **Order by.** The first case that would miss its target, or the first day on which demand up to it is no
  longer met with the item's own chance, must find the goods on the shelf the day before: a lead time earlier
  is the last day to order. If that day has
  passed, the alert says so and asks to order today.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from enum import StrEnum
from hashlib import blake2b

from cases.planning import replenish
from cases.readiness.on_the_way import Coming
from cases.reorders.demand import WANTED, Draw, ItemFacts, SiteFacts, site_facts
from cases.reorders.held import held_units, kept
from cases.reorders.levels import Kept, net_parts
from cases.reorders.windows import window_end
from cases.reorders.wishes import Missed, Wishes, case_wishes
from trays.catalogue.models import Component, FamilyKind
from trays.parties.models import Site
from trays.parties.workdays import due, next_workday, order_by


class Because(StrEnum):
    """What asks for the level."""

    CASES = "cases"
    UNBOOKED = "unbooked"
    CHANCE = "chance"
    COST = "cost"
    LEAST = "least"


@dataclass(frozen=True, slots=True)
class Reason:
    """Why an alert stands, as data.

    With `CASES` or `UNBOOKED`: without more of the item `cases` miss their target, the worst of them (None
    for work not booked) on `day` with a chance of being short of at most `short`, where `allowed` is wanted.
    With `CHANCE` or `COST` the item itself must last with `wanted`; with `LEAST` only the site's own least is
    missed.
    """

    because: Because
    cases: int = 0
    case_id: int | None = None
    reference: str = ""
    day: date | None = None
    short: float = 0.0
    allowed: float = 0.0
    wanted: float = 0.0


@dataclass(frozen=True, slots=True)
class AlertRow:
    """One component below its level. Counts are whole units; `expected` are means.

    `held` of the `usable` are held for cases of the window; `kept` are held for others and count nowhere.
    `case_ids` are the booked cases that may take it, by day; `why` says what asks for it. `short_on` is the
    first day on which it may run out (None: only the site's own least stock is missed); `late`: no order
    arrives before that day. `coming` is on its way; with `suggested` 0 nothing more is to be ordered.
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
    why: Reason
    coming: tuple[Coming, ...] = ()
    site_id: int = 0

    @property
    def on_order(self) -> int:
        return sum(one.pieces for one in self.coming)

    @property
    def missing(self) -> int:
        return max(0, self.wanted - self.usable - self.on_order)

    @property
    def on_its_way(self) -> bool:
        """What is missing has been ordered, or is sent by another site."""
        return self.suggested == 0

    @property
    def digest(self) -> str:
        """Stands for the facts of the alert: another one means that they have changed."""
        facts = (self.wanted, self.usable, self.on_order, self.short_on, self.late)
        return blake2b(repr(facts).encode(), digest_size=16).hexdigest()

    @property
    def cause(self) -> str:
        """The key under which it is ordered: one order for one lack."""
        counts = f"{self.wanted}:{self.usable}:{self.on_order}"
        return f"alert:{self.site_id}:{self.component.pk}:{self.until}:{counts}"


@dataclass(frozen=True, slots=True)
class Alerts:
    """What a site must order, first to be ordered first; `looked_at` components were judged.

    `on_way`: items under their level for which enough has been ordered already.
    """

    site_id: int
    day: date
    rows: tuple[AlertRow, ...]
    looked_at: int
    without_forecast: int
    on_way: tuple[AlertRow, ...] = ()


def alerts(*, site: Site, at: datetime) -> Alerts:
    """Judge every component that booked cases, past use or a stock rule of the site ask for."""
    facts = site_facts(site=site, at=at)
    wishes = site_wishes(facts)
    judged = [judge(item, n, wishes, day=facts.day) for n, item in enumerate(facts.items)]
    rows = [replace(_named(row, facts.references), site_id=site.pk) for row in judged if row is not None]
    rows.sort(key=lambda row: (row.order_by, not row.late, row.short_on or row.until, row.component.code))
    return Alerts(
        site_id=site.pk,
        day=facts.day,
        rows=tuple(row for row in rows if not row.on_its_way),
        on_way=tuple(row for row in rows if row.on_its_way),
        looked_at=len(facts.items),
        without_forecast=sum(1 for item in facts.items if item.rate is None),
    )


def site_wishes(facts: SiteFacts) -> Wishes:
    """What the site's cases wish for, knowing what is kept of each component for other reasons."""
    floor = [_floor(item, facts.day) for item in facts.items]
    return case_wishes(facts.items, day=facts.day, target=facts.target, floor=floor)


def _floor(item: ItemFacts, day: date) -> int:
    return look(item, day=day, until=window_end(item.component, day)).level if item.wanted else item.least


def judge(item: ItemFacts, number: int, wishes: Wishes, *, day: date) -> AlertRow | None:
    """The alert for one component, or None when its stock meets what is asked for.

    `number` is the item's place among those that the wishes were made of.
    """
    lead = item.component.supplier.lead_working_days
    until = window_end(item.component, day)
    view = look(item, day=day, until=until, wished=wishes.units[number])
    if view.level <= view.free:
        return None
    missed = wishes.missed(number, view.free + view.coming)
    multiple = item.component.order_multiple
    suggested = replenish.suggest(view.free, item.on_order(), view.level, multiple)
    if suggested:
        short_on = _short_on(item, view, missed, day=day, until=until)
    else:
        # Enough is on its way; it may come too late all the same.
        short_on = next(iter(_runs_out(item, item.own_chance or WANTED, day=day, until=until)), None)
    today = next_workday(day)
    # Below the site's own least stock only: nothing runs out, so today is early enough.
    latest = order_by(short_on, lead) if short_on else today
    return AlertRow(
        component=item.component,
        tenures=view.tenures,
        usable=view.free + view.held,
        held=view.held,
        kept=view.kept,
        short_dated=view.short_dated,
        wanted=view.level + view.held,
        suggested=suggested,
        multiple=multiple,
        until=until,
        short_on=short_on,
        order_by=max(latest, today),
        arrives=due(today, lead),
        late=latest < today,
        case_ids=tuple(draw.case_id for draw in view.draws),
        references=(),
        expected_booked=view.booked,
        expected_unbooked=view.unbooked,
        forecast=item.rate is not None,
        least=item.least,
        pieces=item.component.family.kind == FamilyKind.CONSUMABLE,
        why=_why(item, view, missed),
        coming=item.coming,
    )


@dataclass(frozen=True, slots=True)
class View:
    """One component as it stands until one day: what is free and held, and what must be met from free units.

    `coming` is due by then. `asked` meets the demand: `own` the item's own chance, the wish of its cases the
    rest. `level` is also the
    site's own least stock.
    """

    free: int
    held: int
    kept: int
    short_dated: int
    tenures: tuple[str, ...]
    draws: tuple[Draw, ...]
    booked: float
    unbooked: float
    own: int
    asked: int
    level: int
    coming: int = 0


def look(item: ItemFacts, *, day: date, until: date, wished: int = 0, chance: float | None = None) -> View:
    """Free units, held units and the level of the demand from `day` until `until`, both days included.

    `wished`: free units that the cases ask for. `chance`: with which the item is to last, if not its own.
    """
    draws = tuple(draw for draw in item.draws if draw.day <= until)
    held = held_units(item.units, draws)
    counted = {id(unit) for units in held.values() for unit in units}
    free = sum(1 for unit in item.units if unit.free and unit.in_date(until))
    pieces = sum(pile.pieces for pile in item.piles if pile.in_date(until))
    booked = sum(draw.mean for draw in draws)
    unbooked = item.unbooked(day, until)
    lasting = item.own_chance if chance is None else chance
    own = 0 if lasting is None else _own_level(draws, kept(held), unbooked, lasting)
    asked = max(own, wished)
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
        own=own,
        asked=asked,
        level=max(asked, item.least),
        coming=item.on_order(until),
    )


def _own_level(draws: Sequence[Draw], held: Kept, unbooked: float, chance: float) -> int:
    """Free units with which the item lasts with a chance: pieces for sure, and the level of the rest."""
    sure, parts = net_parts(draws, held)
    return sure + replenish.level(replenish.demand(parts, unbooked), chance)


def _short_on(
    item: ItemFacts, view: View, missed: Sequence[Missed], *, day: date, until: date
) -> date | None:
    """The day of the first case that misses its target, or on which the item's own chance is first missed.

    None when only the site's own least stock is.
    """
    days = [one.day for one in missed if one.case[0] == "booked"]
    if view.own > view.free + view.coming:
        days += _runs_out(item, item.own_chance or WANTED, day=day, until=until) or [until]
    elif not days and missed:
        days += _runs_out(item, WANTED, day=day, until=until) or [until]
    return min(days, default=None)


def _runs_out(item: ItemFacts, chance: float, *, day: date, until: date) -> list[date]:
    """The first day up to which the demand is not met with a chance, if there is one."""
    for ahead in range((until - day).days + 1):
        here = day + timedelta(days=ahead)
        view = look(item, day=day, until=here, chance=chance)
        if view.own > view.free + view.coming:
            return [here]
    return []


def _why(item: ItemFacts, view: View, missed: Sequence[Missed]) -> Reason:
    booked = [one for one in missed if one.case[0] == "booked"]
    if missed:
        # The booked case that is worst off; if none is, the work that is not booked.
        worst = max(booked or missed, key=lambda one: one.short)
        return Reason(
            Because.CASES if booked else Because.UNBOOKED,
            cases=len(booked),
            case_id=worst.case[1] if booked else None,
            day=worst.day,
            short=worst.short,
            allowed=worst.allowed,
        )
    if view.own > view.free + view.coming:
        because = Because.COST if item.rule is not None else Because.CHANCE
        return Reason(because, wanted=item.own_chance or WANTED)
    return Reason(Because.LEAST)


def _named(row: AlertRow, references: Mapping[int, str]) -> AlertRow:
    named = tuple(references[case_id] for case_id in row.case_ids if case_id in references)
    worst = references.get(row.why.case_id, "") if row.why.case_id is not None else ""
    return replace(row, references=named, why=replace(row.why, reference=worst))
