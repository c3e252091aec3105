"""Reading a stock take: what the record holds at the place, what was seen, and how they differ."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from django.db.models import QuerySet

from trays.catalogue.models import Component
from trays.ledger.models import EventLine
from trays.parties.models import Site
from trays.stock.models import Pile, Unit, UnitState
from trays.stock.models_takes import PileCount, Sighting, SightingKind, StockTake, TakeStatus

# What lies at a place by the record, for a count of it.
LIES = (UnitState.SHELF, UnitState.PICKED, UnitState.QUARANTINE)


@dataclass(frozen=True, slots=True)
class PileSeen:
    """A pile and what was counted of it in this round; None where it has not been counted."""

    pile: Pile
    counted: int | None

    @property
    def difference(self) -> int:
        return 0 if self.counted is None else self.counted - self.pile.quantity


@dataclass(frozen=True, slots=True)
class TakePicture:
    """One take as it stands: `units` by the record with whether each was seen, and all that is open."""

    take: StockTake
    units: tuple[tuple[Unit, bool], ...]
    sightings: tuple[Sighting, ...]
    piles: tuple[PileSeen, ...]
    not_seen: tuple[Unit, ...] = field(init=False)
    more: tuple[Sighting, ...] = field(init=False)
    not_stock: tuple[Sighting, ...] = field(init=False)

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "not_seen", tuple(unit for unit, seen in self.units if not seen))
        put(self, "more", tuple(one for one in self.sightings if one.kind == SightingKind.MORE))
        put(self, "not_stock", tuple(one for one in self.sightings if one.kind == SightingKind.NOT_STOCK))

    @property
    def seen(self) -> int:
        return sum(seen for _unit, seen in self.units)

    @property
    def moved(self) -> tuple[Sighting, ...]:
        """What was elsewhere, or missing, by the record, and is here."""
        kinds = (SightingKind.MOVED, SightingKind.FOUND)
        return tuple(one for one in self.sightings if one.kind in kinds)

    @property
    def uncounted(self) -> tuple[PileSeen, ...]:
        return tuple(one for one in self.piles if one.counted is None)

    @property
    def pile_differences(self) -> tuple[PileSeen, ...]:
        return tuple(one for one in self.piles if one.difference)

    @property
    def differs(self) -> bool:
        """Whether the record would have to be changed to be what was seen."""
        return bool(self.not_seen or self.more or self.pile_differences)

    @property
    def value(self) -> Decimal:
        """The prices of all that would be added and taken off; what has no price counts nothing here."""
        found = [component.price or Decimal(0) for component in self._changed()]
        pieces = [(one.pile.component.price or Decimal(0)) * abs(one.difference) for one in self.piles]
        return sum([*found, *pieces], Decimal(0))

    @property
    def unpriced(self) -> int:
        """How many things that would be changed have no price on file."""
        lacking = sum(component.price is None for component in self._changed())
        return lacking + sum(one.pile.component.price is None for one in self.pile_differences)

    def _changed(self) -> list[Component]:
        return [unit.component for unit in self.not_seen] + [one.component for one in self.more]


def take_picture(take: StockTake) -> TakePicture:
    """One take as it stands (5 queries). A pile that changed after its count is to be counted again."""
    sightings = sightings_of(take)
    seen = {one.unit_id for one in sightings if one.unit_id and one.kind != SightingKind.NOT_STOCK}
    lying = units_lying(place_id=take.place_id)
    latest = {
        row.pile_id: row for row in PileCount.objects.filter(take=take, round=take.round).order_by("pk")
    }
    changed = _changed_since(latest.values()) if take.status == TakeStatus.COUNTING else set()
    counted = {pk: row.pieces for pk, row in latest.items() if pk not in changed}
    piles = Pile.objects.filter(place=take.place_id).select_related("component", "owner")
    return TakePicture(
        take,
        tuple((unit, unit.pk in seen) for unit in lying),
        tuple(sightings),
        tuple(
            PileSeen(pile, counted.get(pile.pk))
            for pile in piles.order_by("component__name", "lot")
            if pile.quantity or pile.pk in latest
        ),
    )


def _changed_since(counts: Collection[PileCount]) -> set[int]:
    """Piles with a movement after their count (one query)."""
    at = {row.pile_id: row.at for row in counts}
    if not at:
        return set()
    lines = EventLine.objects.filter(
        subject="pile", subject_id__in=at, event__recorded_at__gt=min(at.values())
    ).exclude(quantity=0)
    moves = lines.values_list("subject_id", "event__recorded_at")
    return {pk for pk, recorded in moves if recorded > at[pk]}


def sightings_of(take: StockTake) -> list[Sighting]:
    """What was seen in the latest round and not taken back, in order (one query)."""
    rows = Sighting.objects.filter(take=take, round=take.round, taken_back__isnull=True)
    rows = rows.exclude(kind=SightingKind.TAKEN_BACK)
    return list(rows.select_related("component", "unit__place", "unit__site", "by").order_by("pk"))


def units_lying(*, place_id: int) -> QuerySet[Unit]:
    """What lies at a place by the record, in the order of a shelf."""
    rows = Unit.objects.filter(place_id=place_id, state__in=LIES)
    return rows.select_related("component", "owner").order_by(
        "bin", "component__family", "component__side", "component__size_rank", "component__second_rank",
        "expires", "pk",
    )  # fmt: skip


def takes(*, sites: Iterable[Site], limit: int = 50) -> list[StockTake]:
    """The takes of these sites, those under way first, then the newest (one query)."""
    rows = StockTake.objects.filter(site__in=list(sites)).select_related("place", "site", "begun_by")
    found = list(rows.order_by("-begun_at", "-pk")[:limit])
    return sorted(found, key=lambda row: row.status != TakeStatus.COUNTING)


def elsewhere_on_site(take: StockTake, sightings: Iterable[Sighting]) -> dict[tuple[int, str], list[Unit]]:
    """Units of the lots of these sightings that lie at other places of the site (one query)."""
    lots = {(one.component_id, one.lot) for one in sightings}
    rows = Unit.objects.filter(
        site_id=take.site_id, state__in=LIES, serial="", component_id__in={pk for pk, _lot in lots}
    ).exclude(place_id=take.place_id)
    found: dict[tuple[int, str], list[Unit]] = {}
    for unit in rows.select_related("place").order_by("place__walk", "pk"):
        if (unit.component_id, unit.lot) in lots:
            found.setdefault((unit.component_id, unit.lot), []).append(unit)
    return found
