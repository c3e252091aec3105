"""Reading stock: what is on a site's shelves and may be used on a day."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Count, Q, QuerySet, Sum

from trays.parties.queries import site_day as site_day
from trays.stock.models import Pile, Unit
from trays.stock.notices_open import unnamed

# From here on a unit is short-dated: the supplier is asked to exchange it.
SHORT_DATED_DAYS = 90


def in_date(day: date) -> Q:
    """Usable on the day by its date: the expiry day itself included, no date = always."""
    return Q(expires__isnull=True) | Q(expires__gte=day)


def on_hand(*, site_id: int) -> QuerySet[Unit]:
    """Every unit on the site's shelves or picked, whatever its date."""
    return Unit.objects.filter(site_id=site_id, state__in=Unit.ON_HAND)


def usable_units(*, site_id: int, day: date) -> QuerySet[Unit]:
    """The units on hand at the site that are in date on the day. Whether one is held is not looked at."""
    return on_hand(site_id=site_id).filter(in_date(day))


def usable_piles(*, site_id: int, day: date) -> QuerySet[Pile]:
    """The site's piles with something in them that is in date on the day and that no safety notice names."""
    return unnamed(Pile.objects.filter(in_date(day), site_id=site_id, quantity__gt=0))


def usable_counts(*, site_id: int, day: date) -> dict[int, int]:
    """How many units and pieces of each component are usable at the site on the day. Two queries."""
    units = usable_units(site_id=site_id, day=day).order_by().values_list("component_id")
    counts: dict[int, int] = dict(units.annotate(n=Count("pk")))
    piles = usable_piles(site_id=site_id, day=day).order_by().values_list("component_id")
    for component_id, pieces in piles.annotate(n=Sum("quantity")):
        counts[component_id] = counts.get(component_id, 0) + pieces
    return counts


def short_dated(*, site_id: int, day: date, within_days: int = SHORT_DATED_DAYS) -> QuerySet[Unit]:
    """Units on hand that expire within so many days, first expired first; out of date ones included."""
    return on_hand(site_id=site_id).filter(expires__lt=day + timedelta(days=within_days)).order_by("expires")


def expiring(*, site_id: int, day: date, within_days: int) -> QuerySet[Unit]:
    """Units on hand or set apart that expire within so many days, or have expired; first expired first."""
    rows = Unit.objects.filter(
        site_id=site_id,
        state__in=(*Unit.ON_HAND, Unit.State.QUARANTINE),
        expires__lt=day + timedelta(days=within_days),
    )
    return rows.select_related("component__family", "component__supplier", "owner", "place").order_by(
        "expires", "component", "pk"
    )


@dataclass(frozen=True, slots=True)
class TenureCount:
    """How many units of a component are on hand under one tenure and owner."""

    component_id: int
    owner_id: int
    owner: str
    tenure: str
    units: int


def counts_by_owner(*, site_id: int, component_ids: Iterable[int] | None = None) -> tuple[TenureCount, ...]:
    """Units on hand by component, owner and tenure. One query."""
    rows = on_hand(site_id=site_id)
    if component_ids is not None:
        rows = rows.filter(component_id__in=list(component_ids))
    grouped = rows.order_by().values_list("component_id", "owner_id", "owner__name", "tenure")
    counted = grouped.annotate(n=Count("pk")).order_by("component_id", "owner__name", "tenure")
    return tuple(TenureCount(*row) for row in counted)


def units_named(*, component_id: int, lot: str = "", serial: str = "") -> QuerySet[Unit]:
    """The units that a scan names: by serial when it has one, else by lot; letters' case counts."""
    rows = Unit.objects.filter(component_id=component_id).select_related("place", "site", "component")
    if serial:
        return rows.filter(serial=serial)
    return rows.filter(lot=lot) if lot else rows.none()
