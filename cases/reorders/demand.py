"""What reorder alerts read: stock, holds, booked demand and past use of one site, with fixed queries."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Count, QuerySet

from cases.bookings.models import Case, PlanConsumable
from cases.forecasts.queries import use_rates
from cases.readiness.assess import horizon
from cases.readiness.kinds import Demand
from cases.readiness.on_the_way import Coming, coming_to, leaving_units
from cases.reorders.models import LevelBy, StockRule
from cases.reorders.windows import window_end
from cases.reservations.models import Hold
from trays.catalogue.models import Component, FamilyKind
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.stock.queries import on_hand, usable_piles

HISTORY_DAYS = 180
YEAR = 365
WANTED = 0.98
"""Chance that an item lasts where no case's verdict counts it: consumables, and work not booked yet."""


@dataclass(frozen=True, slots=True)
class StockUnit:
    """One unit on hand, and whom it is held for (at most one of the two)."""

    expires: date | None
    tenure: str
    case_id: int | None = None
    list_id: int | None = None

    def in_date(self, day: date) -> bool:
        return self.expires is None or self.expires >= day

    @property
    def free(self) -> bool:
        return self.case_id is None and self.list_id is None


@dataclass(frozen=True, slots=True)
class PileStock:
    """So many pieces of one lot."""

    expires: date | None
    pieces: int

    def in_date(self, day: date) -> bool:
        return self.expires is None or self.expires >= day


@dataclass(frozen=True, slots=True)
class Draw:
    """What one booked case takes: one with chance `one`, two with `two`; or `fixed` pieces for sure."""

    day: date
    case_id: int
    list_id: int | None = None
    one: float = 0.0
    two: float = 0.0
    fixed: int = 0

    @property
    def mean(self) -> float:
        return self.one + 2 * self.two + self.fixed


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule by cost: what one unit short costs, and one unit kept for a year."""

    short_cost: float
    keep_cost: float

    def chance(self, days: int) -> float:
        """The chance with which the item is to last so many days: the critical fractile."""
        kept = self.keep_cost * max(1, days) / YEAR
        return self.short_cost / (self.short_cost + kept)


@dataclass(frozen=True, slots=True)
class ItemFacts:
    """Everything about one component at one site that decides whether it must be ordered.

    `rate` is the use per calendar day over the last HISTORY_DAYS, None without any use: no forecast.
    `wanted` is the site's own rule for this item, None without one: then its cases' target decides; with
    `rule` by cost it follows from what a shortage and a unit too many cost. `coming`: what is on its way.
    """

    component: Component
    units: tuple[StockUnit, ...] = ()
    piles: tuple[PileStock, ...] = ()
    draws: tuple[Draw, ...] = ()
    rate: float | None = None
    wanted: float | None = None
    least: int = 0
    rule: "Rule | None" = None
    coming: tuple[Coming, ...] = ()

    def on_order(self, until: date | None = None) -> int:
        """Pieces on their way that are due by a day; without one, all of them."""
        return sum(one.pieces for one in self.coming if until is None or one.due <= until)

    def unbooked(self, day: date, until: date) -> float:
        """Mean use from `day` until `until`, both included, beyond what is booked in that time."""
        if not self.rate:
            return 0.0
        booked = sum(draw.mean for draw in self.draws if draw.day <= until)
        return max(0.0, self.rate * ((until - day).days + 1) - booked)

    @property
    def own_chance(self) -> float | None:
        """The chance that the item itself is to last, whatever its cases ask; None for none."""
        if self.wanted is None and self.component.family.kind == FamilyKind.CONSUMABLE:
            return WANTED
        return self.wanted


@dataclass(frozen=True, slots=True)
class SiteFacts:
    """One site's items, the local references of the cases that draw on them, and the cases' target."""

    day: date
    items: tuple[ItemFacts, ...]
    target: float
    references: Mapping[int, str] = field(default_factory=dict)


def site_facts(*, site: Site, at: datetime, also: Iterable[int] = ()) -> SiteFacts:
    """Read one site: what the horizon reads (nothing when it is cached) and eleven queries of our own.

    Items are the components that anything asks for, and those of `also` (ids) whether asked for or not.
    """
    day = site_day(site, at)
    ahead = horizon(site=site, at=at)
    draws = _draws(site=site, day=day, demand=ahead.demand)
    units, piles = _units(site), _piles(site, day)
    since = day - timedelta(days=HISTORY_DAYS)
    used = use_rates(site=site, since=since, until=day)
    rules = {rule.component_id: rule for rule in StockRule.objects.filter(site=site)}
    coming = coming_to(site=site, day=day)
    wanted_ids = set(draws) | set(used) | set(rules) | set(also)
    components = Component.objects.filter(pk__in=wanted_ids).select_related("family", "supplier")
    items = tuple(
        ItemFacts(
            component=component,
            units=tuple(units.get(component.pk, ())),
            piles=tuple(piles.get(component.pk, ())),
            draws=tuple(draws.get(component.pk, ())),
            rate=used[component.pk] / HISTORY_DAYS if component.pk in used else None,
            coming=coming.get(component.pk, ()),
            **_ruled(rules.get(component.pk), component, day),
        )
        for component in components
    )
    references = {case_id: verdict.reference for case_id, verdict in ahead.verdicts.items()}
    return SiteFacts(day=day, items=items, target=site.wanted_on_site, references=references)


def _ruled(rule: StockRule | None, component: Component, day: date) -> dict[str, Any]:
    """What a site's rule says of an item: the chance that it is to last, and the least."""
    if rule is None:
        return {}
    if rule.level_by != LevelBy.COST:
        return {"wanted": rule.wanted, "least": rule.least}
    by_cost = Rule(float(rule.short_cost or 0), float(rule.keep_cost or 0))
    days = (window_end(component, day) - day).days + 1
    return {"wanted": by_cost.chance(days), "least": rule.least, "rule": by_cost}


def _booked(site: Site, day: date) -> QuerySet[Case]:
    return Case.objects.filter(site=site, status=Case.Status.BOOKED, list__day__gte=day)


def _draws(*, site: Site, day: date, demand: Mapping[int, tuple[Demand, ...]]) -> dict[int, list[Draw]]:
    """Booked demand by component: sizes with their chances; consumables as the plan counts them, per side."""
    sides = Count("constructs")
    booked = list(
        _booked(site, day).annotate(sides=sides).values_list("pk", "plan_id", "list_id", "list__day", "sides")
    )
    lists = {row[0]: row[2] for row in booked}
    draws: dict[int, list[Draw]] = defaultdict(list)
    for component_id, rows in demand.items():
        draws[component_id] += [
            Draw(row.day, row.case_id, lists.get(row.case_id), one=row.p_one, two=row.p_two)
            for row in rows
            if row.p_one > 0 or row.p_two > 0
        ]
    lines = PlanConsumable.objects.filter(plan_id__in={row[1] for row in booked})
    by_plan: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for plan_id, component_id, quantity in lines.values_list("plan_id", "component_id", "quantity"):
        by_plan[plan_id].append((component_id, quantity))
    for case_id, plan_id, list_id, operation_day, count in booked:
        for component_id, quantity in by_plan[plan_id]:
            draws[component_id].append(Draw(operation_day, case_id, list_id, fixed=quantity * count))
    return draws


def _units(site: Site) -> dict[int, list[StockUnit]]:
    holds = {
        unit_id: (case_id, list_id)
        for unit_id, case_id, list_id in Hold.objects.filter(
            unit__site=site, ended_at__isnull=True
        ).values_list("unit_id", "case_id", "list_id")
    }
    found: dict[int, list[StockUnit]] = defaultdict(list)
    leaving = leaving_units(site=site)
    rows = on_hand(site_id=site.pk).order_by("expires", "pk")
    for pk, component_id, expires, tenure in rows.values_list("pk", "component_id", "expires", "tenure"):
        if pk not in leaving:
            found[component_id].append(StockUnit(expires, tenure, *holds.get(pk, (None, None))))
    return found


def _piles(site: Site, day: date) -> dict[int, list[PileStock]]:
    found: dict[int, list[PileStock]] = defaultdict(list)
    rows = usable_piles(site_id=site.pk, day=day).order_by()
    for component_id, expires, pieces in rows.values_list("component_id", "expires", "quantity"):
        found[component_id].append(PileStock(expires, pieces))
    return found
