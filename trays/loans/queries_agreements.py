"""Reading agreements, prices and offers: what is agreed, what it costs on a day, what can be lent."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Count, F, Q, QuerySet

from trays.catalogue.models import Component
from trays.instruments.models import SetDesign
from trays.ledger.models import EventLine
from trays.loans.models_agreements import (
    Agreement,
    AgreementCount,
    AgreementCountLine,
    AgreementLine,
    LoanOffer,
    Price,
)
from trays.parties.models import Party, Site, Tenure
from trays.parties.queries import site_day
from trays.stock.models import Unit
from trays.stock.ways import FATES


@dataclass(frozen=True, slots=True)
class Priced:
    """What one of a component costs: by an agreement ("agreement"), the supplier's list ("list") or the
    catalogue ("catalogue").
    """

    price: Decimal
    currency: str
    source: str
    agreement_id: int | None = None


def prices_on(*, site_id: int, day: date, component_ids: Iterable[int] | None = None) -> dict[int, Priced]:
    """The price in force of each component at a site on a day; components without one are left out.

    The site's agreement goes before the supplier's list, that before the catalogue. Two queries.
    """
    wanted = None if component_ids is None else list(component_ids)
    own = Q() if wanted is None else Q(pk__in=wanted)
    catalogue = Component.objects.filter(own, price__isnull=False).order_by()
    found = {
        pk: Priced(price, currency, "catalogue")
        for pk, price, currency in catalogue.values_list("pk", "price", "currency")
        if price is not None
    }
    rows = Price.objects.filter(_valid(day)).filter(
        Q(agreement__isnull=True) | (Q(agreement__site_id=site_id) & _valid(day, prefix="agreement__"))
    )
    if wanted is not None:
        rows = rows.filter(component_id__in=wanted)
    # The list first, then agreements; within each the newest last, so that it stays.
    ordered = rows.order_by("valid_from", "pk").values_list(
        "component_id", "price", "currency", "agreement_id"
    )
    for component_id, price, currency, agreement_id in sorted(ordered, key=lambda row: row[3] is not None):
        source = "list" if agreement_id is None else "agreement"
        found[component_id] = Priced(price, currency, source, agreement_id)
    return found


def agreements_on(*, site_id: int, day: date) -> QuerySet[Agreement]:
    """The agreements in force at a site on a day, by supplier."""
    rows = Agreement.objects.filter(_valid(day), site_id=site_id).select_related("supplier", "site")
    return rows.order_by("supplier__name", "code")


def replacement_of(*, site_id: int, day: date) -> dict[int, str]:
    """By component what follows on a use of consigned stock: bill only, or bill and replace (one query)."""
    rows = AgreementLine.objects.filter(
        _valid(day, prefix="agreement__"), agreement__site_id=site_id
    ).order_by("agreement__valid_from")
    return dict(rows.values_list("component_id", "replacement"))


@dataclass(frozen=True, slots=True)
class AgainstAgreement:
    """One component of an agreement: how many are agreed, and how many are on the shelf as consigned."""

    agreement_id: int
    component: Component
    agreed: int
    replacement: str
    there: int
    # Of these, out of date or within the exchange window: to be exchanged by the supplier.
    to_exchange: int = 0
    price: Priced | None = None

    @property
    def missing(self) -> int:
        return max(0, self.agreed - self.there)

    @property
    def over(self) -> int:
        return max(0, self.there - self.agreed)


def against_agreement(*, site: Site, at: datetime) -> tuple[AgainstAgreement, ...]:
    """What is agreed against what is on the shelf, for each agreement in force; consigned units of the
    supplier that no line names come last, as agreed nought. Five queries.
    """
    day = site_day(site, at)
    agreements = {row.supplier_id: row for row in agreements_on(site_id=site.pk, day=day)}
    lines = AgreementLine.objects.filter(agreement__in=agreements.values()).select_related(
        "component__family"
    )
    counts = _consigned(
        site_id=site.pk, owners={pk: row.exchange_window_days for pk, row in agreements.items()}, day=day
    )
    found, named = [], set()
    prices = prices_on(site_id=site.pk, day=day)
    of_agreement = {row.pk: row for row in agreements.values()}
    for line in sorted(lines, key=lambda row: _order(row.component)):
        owner = of_agreement[line.agreement_id].supplier_id
        there, exchange = counts.get((owner, line.component_id), (0, 0))
        named.add((owner, line.component_id))
        found.append(
            AgainstAgreement(
                line.agreement_id, line.component, line.quantity, line.replacement, there, exchange,
                prices.get(line.component_id),
            )
        )  # fmt: skip
    extra = {key: value for key, value in counts.items() if key not in named and value[0]}
    components = Component.objects.select_related("family").in_bulk(
        [component for _owner, component in extra]
    )
    for (owner, component_id), (there, exchange) in sorted(extra.items()):
        found.append(
            AgainstAgreement(
                agreements[owner].pk, components[component_id], 0, "", there, exchange,
                prices.get(component_id),
            )
        )  # fmt: skip
    return tuple(found)


def exchange_window(*, site: Site, at: datetime) -> dict[int, int]:
    """By owner the days before expiry from which its units are to be exchanged (one query)."""
    rows = agreements_on(site_id=site.pk, day=site_day(site, at))
    return dict(rows.values_list("supplier_id", "exchange_window_days"))


def to_exchange(*, site: Site, at: datetime) -> tuple[Unit, ...]:
    """Consigned units on hand within their agreement's exchange window, first expired first (2 queries)."""
    day = site_day(site, at)
    due = Q(pk__in=[])
    for owner, days in exchange_window(site=site, at=at).items():
        due |= Q(owner_id=owner, expires__lt=day + timedelta(days=days))
    rows = Unit.objects.filter(due, site=site, tenure=Tenure.CONSIGNED, state__in=Unit.ON_HAND)
    return tuple(rows.select_related("component", "owner", "place").order_by("expires", "component_id"))


@dataclass(frozen=True, slots=True)
class CountDue:
    """When the next count of an agreement is due, and when the last one was."""

    agreement: Agreement
    last: date | None
    due: date
    late: bool


def counts_due(*, site: Site, at: datetime) -> tuple[CountDue, ...]:
    """Every agreement in force with its next count, the earliest first. Two queries."""
    day = site_day(site, at)
    rows = list(agreements_on(site_id=site.pk, day=day))
    newest: dict[int, date] = {}
    for agreement_id, counted in (
        AgreementCount.objects.filter(agreement__in=rows).order_by("at").values_list("agreement_id", "day")
    ):
        newest[agreement_id] = counted
    found = []
    for row in rows:
        last = newest.get(row.pk)
        due = (last or row.valid_from) + timedelta(days=row.count_interval_days)
        found.append(CountDue(row, last, due, due < day))
    return tuple(sorted(found, key=lambda one: (one.due, one.agreement.code)))


@dataclass(frozen=True, slots=True)
class Offer:
    """What a supplier can lend, as a plan reckons with it. `sets` and `units` are by id of design and
    component.
    """

    pk: int
    code: str
    name: str
    supplier_id: int
    supplier: str
    fee: Decimal
    currency: str
    lead_working_days: int
    most: int
    sets: Mapping[int, int] = field(default_factory=dict)
    units: Mapping[int, int] = field(default_factory=dict)


def offers_on(*, day: date, supplier_ids: Iterable[int] | None = None) -> tuple[Offer, ...]:
    """The offers in force on a day with all they bring, by supplier. Three queries."""
    rows = offers_in_force(day=day)
    if supplier_ids is not None:
        rows = rows.filter(supplier_id__in=list(supplier_ids))
    rows = rows.prefetch_related("sets", "units")
    return tuple(
        Offer(
            pk=row.pk,
            code=row.code,
            name=row.name,
            supplier_id=row.supplier_id,
            supplier=row.supplier.name,
            fee=row.fee,
            currency=row.currency,
            lead_working_days=row.lead_working_days,
            most=row.most_at_once,
            sets={each.design_id: each.quantity for each in row.sets.all()},
            units={each.component_id: each.quantity for each in row.units.all()},
        )
        for row in rows
    )


def offers_in_force(*, day: date) -> QuerySet[LoanOffer]:
    """The same as rows, by supplier."""
    return LoanOffer.objects.filter(_valid(day)).select_related("supplier").order_by("supplier__name", "code")


def designs_on_offer(offers: Iterable[Offer]) -> dict[int, SetDesign]:
    """The designs that the offers bring, by id (one query)."""
    return SetDesign.objects.in_bulk({design for offer in offers for design in offer.sets})


def suppliers() -> QuerySet[Party]:
    """Every supplier, by name."""
    return Party.objects.filter(kind=Party.Kind.SUPPLIER).order_by("name")


def _valid(day: date, prefix: str = "") -> Q:
    begun = Q(**{f"{prefix}valid_from__lte": day})
    return begun & (Q(**{f"{prefix}valid_until__isnull": True}) | Q(**{f"{prefix}valid_until__gte": day}))


def _consigned(
    *, site_id: int, owners: Mapping[int, int], day: date
) -> dict[tuple[int, int], tuple[int, int]]:
    """By owner and component: consigned units on hand, and how many of them to exchange (one query)."""
    soon = Q(pk__in=[])
    for owner, days in owners.items():
        soon |= Q(owner_id=owner, expires__lt=day + timedelta(days=days))
    rows = Unit.objects.filter(
        site_id=site_id, tenure=Tenure.CONSIGNED, owner_id__in=list(owners), state__in=Unit.ON_HAND
    )
    counted = (
        rows.order_by()
        .values_list("owner_id", "component_id")
        .annotate(there=Count("pk"), exchange=Count("pk", filter=soon))
    )
    return {(owner, component): (there, exchange) for owner, component, there, exchange in counted}


def _order(component: Component) -> tuple[Any, ...]:
    return component.family.name, component.side, component.size_rank, component.second_rank


@dataclass(frozen=True, slots=True)
class Summed:
    """An agreement's items taken together."""

    items: int
    agreed: int
    there: int
    short: int
    to_exchange: int


def summed(lines: Iterable[AgainstAgreement], agreement_id: int) -> Summed:
    """The lines of one agreement taken together."""
    own = [one for one in lines if one.agreement_id == agreement_id]
    return Summed(
        items=len(own),
        agreed=sum(one.agreed for one in own),
        there=sum(one.there for one in own),
        short=sum(one.missing for one in own),
        to_exchange=sum(one.to_exchange for one in own),
    )


def newest_count(agreement: Agreement) -> AgreementCount | None:
    """The latest count of an agreement (one query)."""
    return agreement.counts.select_related("by").order_by("-at").first()


def differences_of(count: AgreementCount) -> tuple[AgreementCountLine, ...]:
    """The items of a count that differ from the record (one query)."""
    rows = count.lines.select_related("component").exclude(seen=F("expected"))
    return tuple(rows.order_by("component__name"))


def used_since(*, agreement: Agreement, since: datetime | None) -> dict[int, int]:
    """By component how many of the supplier's consigned units have passed into the hospital's ownership by
    use at the site since a moment, else since the agreement began (two queries).
    """
    begun = datetime.combine(agreement.valid_from, time(), ZoneInfo(agreement.site.zone))
    passed = EventLine.objects.filter(
        subject="title",
        before=agreement.supplier.code,
        event__chain__code=agreement.site.code,
        event__happened_at__gt=since or begun,
    )
    ids = set(passed.values_list("subject_id", flat=True))
    # Not what came on loan, nor what was taken down as used by mistake and is the supplier's again.
    rows = Unit.objects.filter(pk__in=ids, state__in=FATES, loan_units__isnull=True)
    rows = rows.exclude(owner_id=agreement.supplier_id)
    return dict(rows.order_by().values_list("component_id").annotate(n=Count("pk")))
