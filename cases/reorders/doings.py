"""What can be done for the cases of a list: borrow, order, have the other site send; with cost and arrival.

* **Loans.** Offers in force, asked today. Sets must be here, checked and sterile by the site's own deadlines
  before the case; sealed units likewise by theirs.
* **Orders.** One order multiple of a component each, here a lead time after today and on the shelf the day
  after.
* **Transfers.** What another site of the hospital has free beyond what its own cases ask for, in date on the
  last day of the list. Its trip is reckoned at `TRIP`, once for each unit: no price for it is on file.

Costs are in the site's currency; offers in another are left out and told. A component without a price is
taken to cost as much as the dearest that has one, so that it is chosen last, and told.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import QuerySet

from cases.planning.loans_cover import Action
from cases.readiness.facts import CaseFacts
from cases.readiness.on_the_way import TRANSFER_WORKDAYS
from cases.readiness.shelf import set_item, unit_item
from cases.reorders.alerts import look, site_wishes
from cases.reorders.demand import site_facts
from cases.reorders.windows import window_end
from trays.catalogue.models import Component
from trays.catalogue.words import size_and_side
from trays.instruments.models import SetDesign
from trays.loans.asking import known_designs
from trays.loans.deadlines import Need, deadlines
from trays.loans.queries import Reckoning
from trays.loans.queries_agreements import Offer, designs_on_offer, offers_on, prices_on
from trays.parties.models import Site, Tenure
from trays.parties.queries import site_day
from trays.parties.workdays import DAY, due, later, next_workday
from trays.stock.models import Unit
from trays.stock.models_transfers import OPEN_STATES
from trays.stock.queries import in_date

TRIP = Decimal(15)
"""What it is reckoned to cost to have one unit sent from another site."""
MOST_ORDERED = 2
"""Order multiples of one component that a plan may order."""
MOST_SENT = 2
"""Units of one component that one site may send for a plan."""
NO_PRICE = Decimal(1_000)
"""The cost of a component without a price where none has one."""


@dataclass(frozen=True, slots=True, eq=False)
class Doing:
    """One thing that may be done, as often as `most`. `usable` is the day from the start of which it counts.

    `pk` is that of the offer of a loan, else of the component; `site_id` that of the site that sends it.
    `brings` names items as in readiness. `priced`: its cost is on file.
    """

    ref: str
    kind: str
    cost: Decimal
    here: date
    usable: date
    most: int
    brings: Mapping[str, int]
    name: str
    source: str
    pk: int
    site_id: int | None = None
    priced: bool = True

    @property
    def action(self) -> Action:
        """As the planner takes it."""
        return Action(
            self.ref,
            self.kind,
            float(self.cost),
            self.brings,
            arrives=self.usable.toordinal(),
            most=self.most,
        )


@dataclass(frozen=True, slots=True)
class Doings:
    """All that can be done, what it is reckoned in, and what could not be considered."""

    currency: str
    all: tuple[Doing, ...]
    other_currency: int = 0
    unpriced: int = 0
    by_ref: Mapping[str, Doing] = field(default_factory=dict)


def doings_for(
    *,
    site: Site,
    at: datetime,
    cases: Sequence[CaseFacts],
    components: Collection[int],
    designs: Collection[int],
) -> Doings:
    """What can be done in time for at least one of these cases.

    `components` and `designs`: what the cases may draw. The number of queries is fixed for each site.
    """
    day = site_day(site, at)
    wanted = Component.objects.filter(pk__in=components).select_related("family", "supplier")
    rows = {component.pk: component for component in wanted}
    loans, foreign = _loans(site, at, cases, set(rows), set(designs))
    orders, unpriced = _orders(site, day, cases, rows)
    found = (*loans, *orders, *_transfers(site, at, cases, rows))
    return Doings(site.currency, found, foreign, unpriced, {one.ref: one for one in found})


def _loans(
    site: Site, at: datetime, cases: Sequence[CaseFacts], components: set[int], designs: set[int]
) -> tuple[list[Doing], int]:
    day = site_day(site, at)
    offers = [one for one in offers_on(day=day) if components & set(one.units) or designs & set(one.sets)]
    if not offers:
        return [], 0
    familiar = known_designs(site_id=site.pk, design_ids=sorted({d for one in offers for d in one.sets}))
    names = designs_on_offer(offers)
    reckoning = Reckoning.of(site, at)
    found, foreign = [], 0
    for offer in offers:
        if offer.currency != site.currency:
            foreign += 1
            continue
        strange = any(design not in familiar for design in offer.sets)
        usable = [case.day for case in cases if _in_time(offer, case, reckoning, at, unfamiliar=strange)]
        if not usable:
            continue
        brings = {set_item(design): n for design, n in offer.sets.items() if design in designs}
        brings |= {unit_item(one): n for one, n in offer.units.items() if one in components}
        found.append(
            Doing(
                ref=f"loan.{offer.pk}", kind="loan", cost=offer.fee,
                here=due(next_workday(day), offer.lead_working_days), usable=min(usable), most=offer.most,
                brings=brings, name=_offer_words(offer, names), source=offer.supplier, pk=offer.pk,
            )
        )  # fmt: skip
    return found, foreign


def _in_time(offer: Offer, case: CaseFacts, reckoning: Reckoning, at: datetime, *, unfamiliar: bool) -> bool:
    need = Need(
        case.starts_at,
        case.starts_at + timedelta(minutes=case.minutes),
        offer.lead_working_days,
        sets=bool(offer.sets),
        unfamiliar=unfamiliar,
    )
    return deadlines(need, reckoning.allowed, reckoning.clock).ask >= at


def _offer_words(offer: Offer, names: Mapping[int, SetDesign]) -> str:
    sets = ", ".join(names[design].name for design in offer.sets if design in names)
    return f"{offer.name} ({sets})" if sets and sets != offer.name else offer.name


def _orders(
    site: Site, day: date, cases: Sequence[CaseFacts], rows: Mapping[int, Component]
) -> tuple[list[Doing], int]:
    last = max((case.day for case in cases), default=day)
    prices = prices_on(site_id=site.pk, day=day, component_ids=list(rows))
    known = {pk: one.price for pk, one in prices.items() if one.currency == site.currency}
    dearest = max(known.values(), default=NO_PRICE)
    found, unpriced = [], 0
    for pk, component in rows.items():
        here = due(next_workday(day), component.supplier.lead_working_days)
        if here + DAY > last:
            continue
        unpriced += pk not in known
        found.append(
            Doing(
                ref=f"order.{pk}", kind="order",
                cost=known.get(pk, dearest) * component.order_multiple, here=here, usable=here + DAY,
                most=MOST_ORDERED, brings={unit_item(pk): component.order_multiple}, name=_name(component),
                source=component.supplier.name, pk=pk, priced=pk in known,
            )
        )  # fmt: skip
    return found, unpriced


def _transfers(
    site: Site, at: datetime, cases: Sequence[CaseFacts], rows: Mapping[int, Component]
) -> Iterable[Doing]:
    day = site_day(site, at)
    here = later(day, TRANSFER_WORKDAYS)
    last = max((case.day for case in cases), default=day)
    if here + DAY > last:
        return
    for other in Site.objects.filter(party=site.party).exclude(pk=site.pk).order_by("name"):
        for pk, spare in spare_at(other, at, list(rows), last).items():
            yield Doing(
                ref=f"transfer.{other.pk}.{pk}", kind="transfer", cost=TRIP, here=here, usable=here + DAY,
                most=min(spare, MOST_SENT), brings={unit_item(pk): 1}, name=_name(rows[pk]),
                source=other.name, pk=pk, site_id=other.pk,
            )  # fmt: skip


def spare_at(site: Site, at: datetime, components: Sequence[int], last: date) -> dict[int, int]:
    """By component how many free units, in date on a day, a site has beyond what its own cases ask for."""
    free: dict[int, int] = {}
    for pk in sendable(site, components, last).values_list("component_id", flat=True):
        free[pk] = free.get(pk, 0) + 1
    if not free:
        return {}
    facts = site_facts(site=site, at=at, also=list(free))
    wished = site_wishes(facts).units
    found = {}
    for item, units in zip(facts.items, wished, strict=True):
        pk = item.component.pk
        if pk in free:
            until = window_end(item.component, facts.day)
            view = look(item, day=facts.day, until=until, wished=units)
            spare = min(free[pk], view.free - view.level)
            if spare > 0:
                found[pk] = spare
    return found


def sendable(site: Site, components: Collection[int], last: date) -> QuerySet[Unit]:
    """Units that a site may send: on its shelves, held for nobody, on no list to leave, not lent to it,
    in date on a day; first to expire first.
    """
    return (
        Unit.objects.filter(in_date(last), site=site, state=Unit.State.SHELF, component__in=components)
        .exclude(holds__ended_at__isnull=True, holds__isnull=False)
        .exclude(transfers__state__in=OPEN_STATES)
        .exclude(tenure=Tenure.LOANED)
        .order_by("expires", "pk")
    )


def _name(component: Component) -> str:
    return f"{component.family.name} {size_and_side(component)}" if component.size else component.name
