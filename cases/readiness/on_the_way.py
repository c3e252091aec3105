"""What is on its way to a site: pieces on open orders, units of another site, loans that were asked for.

It is not on site, so no verdict counts it; reasons name it, and orders and plans take it as coming.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from trays.loans.models import LoanItem, LoanSet
from trays.loans.ways import EXPECTED, LoanStatus
from trays.orders.models import Order, OrderKind, OrderLine
from trays.orders.queries import OUTSTANDING
from trays.parties.models import Site
from trays.parties.workdays import DAY, due, next_workday
from trays.stock.models_transfers import CarriedState, Transfer, TransferUnit

TRANSFER_WORKDAYS = 1
"""Working days that goods of the other site take, where no day is given."""


@dataclass(frozen=True, slots=True)
class Coming:
    """So many pieces on their way, when they are due, and the number of the order or transfer.

    `promised`: it was sent for; a draft is only meant to be.
    """

    pieces: int
    due: date
    number: str
    promised: bool


def coming_to(*, site: Site, day: date) -> Mapping[int, tuple[Coming, ...]]:
    """By component what is on its way to a site, first due first. Two queries.

    Drafts count: what somebody has drafted is not asked for a second time. What was not sent yet is due a
    lead time after today.
    """
    found: dict[int, list[Coming]] = defaultdict(list)
    today = next_workday(day)
    lines = (
        OrderLine.objects.filter(order__site=site, order__state__in=Order.OPEN, end="")
        .exclude(order__kind=OrderKind.BILL_ONLY)
        .annotate(left=OUTSTANDING)
        .filter(left__gt=0)
        .order_by("pk")
        .values_list(
            "component_id",
            "left",
            "confirmed_for",
            "order__due_on",
            "order__number",
            "order__state",
            "order__supplier__lead_working_days",
        )
    )
    for component, left, confirmed, due_on, number, state, lead in lines:
        promised = state in Order.OUT
        on = confirmed or due_on
        if on is None or not promised:
            on = due(today, lead)
        # What is overdue may come any day; it is not there today.
        found[component].append(Coming(left, max(on, day), number, promised))
    units = (
        TransferUnit.objects.filter(
            transfer__target=site,
            transfer__status__in=(Transfer.Status.MADE, Transfer.Status.SENT),
            state__in=(CarriedState.LISTED, CarriedState.SENT),
        )
        .order_by("pk")
        .values_list("unit__component_id", "transfer__needed_on", "transfer__number", "transfer__status")
    )
    for component, on, number, status in units:
        promised = status == Transfer.Status.SENT
        found[component].append(Coming(1, max(on or due(today, TRANSFER_WORKDAYS), day), number, promised))
    return _sorted(found)


def leaving_units(*, site: Site) -> set[int]:
    """Units listed to go to another site: on the shelf, and no longer the site's to use. One query."""
    listed = TransferUnit.objects.filter(
        transfer__source=site, transfer__status=Transfer.Status.MADE, state=CarriedState.LISTED
    )
    return set(listed.values_list("unit_id", flat=True))


def lent_to(
    *, site: Site, day: date
) -> tuple[Mapping[int, tuple[Coming, ...]], Mapping[int, tuple[Coming, ...]]]:
    """What loans bring that are asked for or confirmed and not here: by component, and by set design.

    Due as promised, else on the day before they are wanted. Two queries.
    """
    units: dict[int, list[Coming]] = defaultdict(list)
    sets: dict[int, list[Coming]] = defaultdict(list)
    expected = {"loan__site": site, "loan__ended_at__isnull": True, "loan__status__in": EXPECTED}
    columns = ("loan__arrives_at", "loan__needed_from", "loan__number", "loan__status")
    zone = ZoneInfo(site.zone)

    def coming(pieces: int, arrives: datetime | None, needed: datetime, number: str, status: str) -> Coming:
        # What was not promised yet is asked for in time: the day before it is wanted.
        on = arrives.astimezone(zone).date() if arrives else needed.astimezone(zone).date() - DAY
        return Coming(pieces, max(on, day), number, status == LoanStatus.CONFIRMED)

    for component, pieces, *rest in LoanItem.objects.filter(**expected).values_list(
        "component_id", "quantity", *columns
    ):
        units[component].append(coming(pieces, *rest))
    for design, *rest in LoanSet.objects.filter(**expected, open=True).values_list("design_id", *columns):
        sets[design].append(coming(1, *rest))
    return _sorted(units), _sorted(sets)


def _sorted(found: Mapping[int, list[Coming]]) -> dict[int, tuple[Coming, ...]]:
    return {key: tuple(sorted(rows, key=lambda one: one.due)) for key, rows in found.items()}
