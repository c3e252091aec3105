"""What was used of a supplier's stock, and its bill: bill only, or bill and replace, once for each use.

Title passes by the use; what must be paid follows from it, at the agreement's price of that day. What comes
in its place is the agreement's too. A use without an agreement line is billed only, and told; so is what came
on loan, of which nothing stays here.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db.models import CharField, Exists, OuterRef, Q, QuerySet, Value
from django.db.models.functions import Cast, Concat
from django.utils.translation import gettext as _

from cases.reorders.models import UseOrdered
from cases.reorders.services import draft_each, lock_site, orders_once
from cases.usage.models import Brought
from cases.usage.queries import USED
from trays.catalogue.models import Component
from trays.ledger.append import record
from trays.loans.models_charges import USE_OF_UNIT, LoanChargeUse
from trays.loans.queries_agreements import Priced, prices_on, replacement_of
from trays.orders.drafting import OrderWish
from trays.orders.models import LineEnd, Order, OrderKind, OrderLine
from trays.parties.models import Site, Tenure
from trays.parties.queries import site_day
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal


@dataclass(frozen=True, slots=True)
class UseLine:
    """One use to be billed: what it was, which kind of order follows, and at what price."""

    brought: Brought
    component: Component
    day: date
    kind: str
    agreed: bool
    price: Priced | None

    @property
    def replaces(self) -> bool:
        return self.kind == OrderKind.BILL_AND_REPLACE


def used_not_ordered(*, site: Site) -> tuple[UseLine, ...]:
    """Uses of supplier's stock at a site for which no bill is drafted, the oldest first.

    A use whose line was taken off, or whose order was given up, counts as not ordered. Three queries, and
    three for each day on which something was used.
    """
    rows = list(_waiting(site))
    found = []
    by_day: dict[date, tuple[Mapping[int, str], Mapping[int, Priced]]] = {}
    for row in rows:
        if row.fate_at is None or row.component is None:
            continue  # `_waiting` gives none such; the database keeps it so
        day = site_day(site, row.fate_at)
        if day not in by_day:
            ids = [one.component_id for one in rows if one.component_id is not None]
            by_day[day] = (
                replacement_of(site_id=site.pk, day=day),
                prices_on(site_id=site.pk, day=day, component_ids=ids),
            )
        replaced, prices = by_day[day]
        agreed = row.tenure == Tenure.CONSIGNED and row.component.pk in replaced
        kind = replaced[row.component.pk] if agreed else OrderKind.BILL_ONLY
        found.append(UseLine(row, row.component, day, kind, agreed, prices.get(row.component.pk)))
    return tuple(found)


def count_not_ordered(*, site: Site) -> int:
    """How many uses wait for their bill (three queries)."""
    return _waiting(site).count()


def billed_wrongly(*, site: Site) -> list[UseOrdered]:
    """Lines still open that bill what was corrected since into something else: to be taken off, or refused.

    Two queries.
    """
    rows = UseOrdered.objects.filter(
        brought__replaced_at__isnull=False, brought__case__site=site, ended_at__isnull=True, line__end=""
    ).select_related("line__order", "brought__component")
    newest = _corrections(site)
    return [row for row in rows.order_by("pk") if not _same_use(row.brought, newest)]


def _corrections(site: Site) -> dict[int, Brought]:
    """By a row's id the row that corrects it (one query)."""
    rows = Brought.objects.filter(case__site=site, corrects__isnull=False)
    return {row.corrects_id: row for row in rows if row.corrects_id is not None}


def _newest(brought_id: int, corrections: Mapping[int, Brought]) -> Brought | None:
    """The row in force at the end of a chain of corrections; None where there is no correction."""
    found = None
    while brought_id in corrections:
        found = corrections[brought_id]
        brought_id = found.pk
    return found


def _same_use(brought: Brought, corrections: Mapping[int, Brought]) -> bool:
    newest = _newest(brought.pk, corrections)
    return newest is not None and newest.title_passed and newest.component_id == brought.component_id


def uses_order(
    *, by: Person, site: Site, brought_ids: Collection[int], at: datetime, client_key: UUID | None = None
) -> list[Order]:
    """Draft the bills for what was used: an order for each supplier and kind, a line for each use.

    Raises Refusal "nothing-chosen", "use-ordered-already"; NotAllowed. The same key gives the same orders.
    """
    require(by=by, act="draft_order", site_id=site.pk)
    if not brought_ids:
        raise Refusal("nothing-chosen", _("No use is chosen."), _("Choose what is to be billed."))

    def work() -> list[Order]:
        lock_site(site)
        waiting = {line.brought.pk: line for line in used_not_ordered(site=site)}
        missing = [pk for pk in brought_ids if pk not in waiting]
        if missing:
            raise Refusal(
                "use-ordered-already",
                _("Of this use the bill is drafted already, or it was corrected."),
                _("Look at the list as it stands now."),
            )
        chosen = [waiting[pk] for pk in sorted(set(brought_ids))]
        UseOrdered.objects.filter(brought__in=brought_ids, ended_at__isnull=True).update(ended_at=at)
        orders, lines = [], []
        for kind in (OrderKind.BILL_ONLY, OrderKind.BILL_AND_REPLACE):
            own = [line for line in chosen if line.kind == kind]
            made, said = draft_each(by=by, site=site, wishes=map(_wish, own), kind=kind, at=at)
            orders += made
            lines += said
        _note(orders, chosen, at)
        record(
            chain=site.code, verb="reorder.bill", by=by, at=at, client_key=client_key,
            answer={"orders": [order.pk for order in orders]}, lines=lines,
        )  # fmt: skip
        return orders

    return orders_once("reorder.bill", by, client_key, work)


def _wish(line: UseLine) -> OrderWish:
    brought = line.brought
    return OrderWish(
        line.component,
        1,
        cause=_cause(brought.pk),
        price=line.price.price if line.price else None,
        currency=line.price.currency if line.price else "",
        lot=brought.lot,
        serial=brought.serial,
    )


def _cause(brought_id: int) -> str:
    return f"use:{brought_id}"


def _note(orders: Collection[Order], chosen: Collection[UseLine], at: datetime) -> None:
    """Which line bills which use."""
    lines = dict(OrderLine.objects.filter(order__in=orders).values_list("cause", "pk"))
    UseOrdered.objects.bulk_create(
        [UseOrdered(brought=line.brought, line_id=lines[_cause(line.brought.pk)], at=at) for line in chosen]
    )


def _paid_for() -> Exists:
    """Whether a charge of the supplier for a loan has paid for this use."""
    key = Concat(Value(USE_OF_UNIT), Cast(OuterRef("unit_id"), CharField()))
    return Exists(LoanChargeUse.objects.filter(use_key=key))


def _waiting(site: Site) -> QuerySet[Brought]:
    """A correction of what is billed already is the same use: it is not billed twice."""
    free_again = Q(line__end__in=(LineEnd.TAKEN_OFF, LineEnd.NOT_CONFIRMED))
    ordered = (
        UseOrdered.objects.filter(ended_at__isnull=True, brought__case__site=site)
        .exclude(free_again | Q(line__order__state=Order.State.CANCELLED))
        .select_related("brought")
    )
    corrections = _corrections(site)
    same = set()
    for row in ordered.filter(brought__replaced_at__isnull=False):
        newest = _newest(row.brought_id, corrections)
        if newest is not None and newest.component_id == row.brought.component_id:
            same.add(newest.pk)
    rows = Brought.objects.filter(
        case__site=site, replaced_at__isnull=True, fate__in=USED, component__isnull=False, title_passed=True
    )
    return (
        rows.exclude(pk__in=ordered.values("brought_id"))
        .exclude(pk__in=same)
        .exclude(_paid_for())
        .select_related("component__family", "component__supplier", "owner", "case")
        .order_by("fate_at", "pk")
    )
