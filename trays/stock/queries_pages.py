"""What the pages of stock list, each in a fixed number of queries."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count, Q, QuerySet

from trays.catalogue.models_drafts import CatalogueDraft, DraftStatus
from trays.parties.models import Site
from trays.stock.models import Pile, Unit, UnitState
from trays.stock.models_apart import ReturnStatus, SetApart, SupplierReturn
from trays.stock.models_arrivals import Arrival
from trays.stock.models_notices import NoticeOutcome, SafetyNotice
from trays.stock.models_takes import StockTake, TakeStatus
from trays.stock.models_transfers import Transfer, TransferStatus

SHOWN = 30


def newest_arrivals(*, site: Site, since: datetime) -> list[Arrival]:
    """What came in at a site since a moment, newest first (one query)."""
    rows = Arrival.objects.filter(site=site, at__gte=since).select_related(
        "component", "draft", "place", "owner", "by"
    )
    return list(rows.order_by("-at", "-pk")[:SHOWN])


def drafts(*, sites: Collection[Site]) -> list[CatalogueDraft]:
    """Drafts of these sites, open ones first, with how many arrivals wait for them (one query)."""
    rows = CatalogueDraft.objects.filter(site__in=list(sites)).annotate(waiting=Count("arrivals"))
    found = rows.select_related("site", "family", "component", "supplier", "raised_by", "decided_by")
    newest = list(found.order_by("-raised_at", "-pk")[:100])
    return sorted(newest, key=lambda row: row.status != DraftStatus.OPEN)


def transfers(*, sites: Collection[Site]) -> list[Transfer]:
    """Transfers from or to these sites, those that are not ended first (one query)."""
    rows = Transfer.objects.filter(Q(source__in=list(sites)) | Q(target__in=list(sites)))
    rows = rows.select_related("source", "target", "made_by").annotate(
        things=Count("units", filter=~Q(units__state="taken_off"), distinct=True),
        lots=Count("piles", distinct=True),
    )
    newest = list(rows.order_by("-made_at", "-pk")[:100])
    return sorted(newest, key=lambda row: row.status not in Transfer.OPEN)


def set_apart(*, sites: Iterable[Site]) -> list[tuple[Unit, SetApart | None]]:
    """Units in quarantine, longest first, each with the row that says why (two queries).

    One that came by an import has no such row.
    """
    rows = Unit.objects.filter(site__in=list(sites), state=UnitState.QUARANTINE)
    units = list(
        rows.select_related("component__supplier", "place", "site", "owner").order_by("received_at", "pk")
    )
    open_rows = SetApart.objects.filter(unit__in=units, ended_at__isnull=True).select_related("by")
    why = {row.unit_id: row for row in open_rows}
    found = [(unit, why.get(unit.pk)) for unit in units]
    return sorted(found, key=lambda one: (one[1].since if one[1] else one[0].received_at, one[0].pk))


def returns(*, sites: Iterable[Site]) -> list[SupplierReturn]:
    """Returns of these sites, those not sent first (one query)."""
    rows = SupplierReturn.objects.filter(site__in=list(sites)).annotate(things=Count("units"))
    newest = list(rows.select_related("site", "supplier", "made_by", "ended_by")[:50])
    return sorted(newest, key=lambda row: row.status != ReturnStatus.GATHERED)


def notices() -> list[SafetyNotice]:
    """All notices, open ones first, with how many units wait to be accounted for (one query)."""
    rows = SafetyNotice.objects.select_related("supplier", "opened_by", "closed_by").annotate(
        still=Count("units", filter=Q(units__outcome=NoticeOutcome.OPEN)), things=Count("units")
    )
    return sorted(rows.order_by("-opened_at", "-pk")[:100], key=lambda row: row.closed_at is not None)


@dataclass(frozen=True, slots=True)
class Waiting:
    """How many of each kind of work wait at some sites."""

    on_the_way_in: int
    to_send: int
    differ: int
    takes: int
    apart: int
    returns: int
    notices: int
    drafts: int
    expired: int


def waiting(*, site: Site, day: date) -> Waiting:
    """What waits at a site (7 queries)."""
    moved = Transfer.objects.aggregate(
        on_the_way_in=Count("pk", filter=Q(target=site, status=TransferStatus.SENT)),
        to_send=Count("pk", filter=Q(source=site, status=TransferStatus.MADE)),
        differ=Count("pk", filter=(Q(source=site) | Q(target=site)) & Q(status=TransferStatus.DIFFERS)),
    )
    units = Unit.objects.filter(site=site).aggregate(
        apart=Count("pk", filter=Q(state=UnitState.QUARANTINE)),
        expired=Count("pk", filter=Q(state__in=Unit.ON_HAND, expires__lt=day)),
    )
    return Waiting(
        **moved,
        **units,
        takes=StockTake.objects.filter(site=site, status=TakeStatus.COUNTING).count(),
        returns=SupplierReturn.objects.filter(site=site, status=ReturnStatus.GATHERED).count(),
        notices=SafetyNotice.objects.filter(closed_at__isnull=True).count(),
        drafts=CatalogueDraft.objects.filter(site=site, status=DraftStatus.OPEN).count(),
    )


def shelf_units(*, site: Site, ids: Iterable[int]) -> QuerySet[Unit]:
    """Units of a site by their keys, as pages show them."""
    rows = Unit.objects.filter(site=site, pk__in=list(ids))
    return rows.select_related("component", "place", "owner", "site").order_by("place__walk", "bin", "pk")


def piles_at(*, site: Site) -> list[Pile]:
    """The site's piles with something in them (one query)."""
    rows = Pile.objects.filter(site=site, quantity__gt=0).select_related("component", "place", "owner")
    return list(rows.order_by("component__name", "place__walk", "expires", "pk"))
