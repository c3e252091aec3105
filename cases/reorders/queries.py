"""What the stock pages show: families of a site, and one family's sizes, units and places."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Count, Q, Sum

from cases.readiness.on_the_way import Coming
from cases.reorders.alerts import Alerts, look, site_wishes
from cases.reorders.demand import ItemFacts, SiteFacts, StockUnit
from cases.reorders.windows import window_end
from cases.reservations.models import Hold
from trays.catalogue.models import Component, Family
from trays.catalogue.words import side_word, size_and_side
from trays.parties.models import Site
from trays.stock.models import Pile, Unit
from trays.stock.queries import SHORT_DATED_DAYS, on_hand
from trays.web.wording import sitetime

WANTED_DAYS = 14


@dataclass(frozen=True, slots=True)
class FamilyLine:
    """One family at a site: what is on hand, what of it is free, and the sizes under their level."""

    code: str
    name: str
    kind: str
    on_hand: int
    free: int
    held: int
    short_dated: int
    out_of_date: int
    sizes: int
    sizes_there: int
    under: tuple[str, ...]

    @property
    def under_count(self) -> int:
        return len(self.under)

    @property
    def under_words(self) -> str:
        return ", ".join(self.under)


def family_lines(*, site: Site, day: date, found: Alerts) -> list[FamilyLine]:
    """Every family by name. Three queries beside those of the alerts."""
    under: dict[int, list[Component]] = defaultdict(list)
    for row in found.rows:
        under[row.component.family_id].append(row.component)
    counts = _counts(site, day)
    lines = []
    families = Family.objects.annotate(sizes=Count("components")).exclude(kind=Family.Kind.RACK)
    for family in families.order_by("-kind", "name"):
        n = counts.get(family.pk, _Counted())
        short = sorted(under[family.pk], key=lambda c: (c.side, c.size_rank, c.second_rank))
        lines.append(
            FamilyLine(
                code=family.code,
                name=family.name,
                kind=str(family.get_kind_display()).lower(),
                on_hand=n.on_hand,
                free=n.on_hand - n.held - n.out_of_date,
                held=n.held,
                short_dated=n.short_dated,
                out_of_date=n.out_of_date,
                sizes=family.sizes,
                sizes_there=n.components,
                under=tuple(size_and_side(component) for component in short),
            )
        )
    return lines


@dataclass(slots=True)
class _Counted:
    on_hand: int = 0
    held: int = 0
    short_dated: int = 0
    out_of_date: int = 0
    components: int = 0


def _counts(site: Site, day: date) -> dict[int, _Counted]:
    soon = Q(expires__gte=day, expires__lt=day + timedelta(days=SHORT_DATED_DAYS))
    fresh_hold = Q(holds__ended_at__isnull=True, holds__isnull=False)
    in_date = Q(expires__isnull=True) | Q(expires__gte=day)
    rows = on_hand(site_id=site.pk).order_by().values("component__family_id")
    counts = {
        row["component__family_id"]: _Counted(
            row["n"], row["held"], row["soon"], row["gone"], row["components"]
        )
        for row in rows.annotate(
            n=Count("pk", distinct=True),
            held=Count("pk", filter=fresh_hold & in_date, distinct=True),
            soon=Count("pk", filter=soon, distinct=True),
            gone=Count("pk", filter=~in_date, distinct=True),
            components=Count("component", distinct=True),
        )
    }
    piles = Pile.objects.filter(site=site, quantity__gt=0).order_by().values("component__family_id")
    for row in piles.annotate(
        pieces=Sum("quantity"),
        soon=Sum("quantity", filter=soon, default=0),
        gone=Sum("quantity", filter=~in_date, default=0),
        components=Count("component", distinct=True),
    ):
        one = counts.setdefault(row["component__family_id"], _Counted())
        one.on_hand += row["pieces"]
        one.short_dated += row["soon"]
        one.out_of_date += row["gone"]
        one.components = max(one.components, row["components"])
    return counts


@dataclass(frozen=True, slots=True)
class SizeLine:
    """One component of a family: what is there, what is wanted in two weeks, what the target asks for.

    `level` is what the target asks for beyond what is held; `over` counts what is on order as there.
    """

    component: Component
    size: str
    side: str
    rank: tuple[str, int, int]
    on_hand: int
    free: int
    held: int
    short_dated: int
    wanted: float
    asked: int
    over: int
    units: tuple[StockUnit, ...]
    level: int
    coming: tuple[Coming, ...]

    @property
    def on_order(self) -> int:
        return sum(one.pieces for one in self.coming)


def size_lines(components: Sequence[Component], facts: SiteFacts) -> list[SizeLine]:
    """One line per component in order of side and size; no query."""
    wished = site_wishes(facts).units
    found = {item.component.pk: (item, n) for item, n in zip(facts.items, wished, strict=True)}
    return [
        _size_line(component, *found.get(component.pk, (ItemFacts(component), 0)), facts.day)
        for component in components
    ]


def _size_line(component: Component, item: ItemFacts, wished: int, day: date) -> SizeLine:
    target = look(item, day=day, until=window_end(component, day), wished=wished)
    fortnight = look(item, day=day, until=day + timedelta(days=WANTED_DAYS - 1))
    soon = day + timedelta(days=SHORT_DATED_DAYS)
    fresh = [unit for unit in item.units if unit.in_date(day)]
    pieces = [pile for pile in item.piles if pile.in_date(day)]
    return SizeLine(
        component=component,
        size=" × ".join(part for part in (component.size, component.second) if part) or component.name,
        side=side_word(component.side),
        rank=(component.side, component.size_rank, component.second_rank),
        on_hand=len(item.units) + sum(pile.pieces for pile in item.piles),
        free=sum(1 for unit in fresh if unit.free) + sum(pile.pieces for pile in pieces),
        held=sum(1 for unit in fresh if not unit.free),
        short_dated=sum(1 for unit in fresh if not unit.in_date(soon))
        + sum(pile.pieces for pile in pieces if not pile.in_date(soon)),
        wanted=fortnight.booked + fortnight.unbooked,
        asked=target.level + target.held,
        over=target.free + item.on_order() - target.level,
        units=tuple(fresh),
        level=target.level,
        coming=item.coming,
    )


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """How many units of each size lie at one place, on one side; `total` over all sizes."""

    side: str
    place: str
    counts: tuple[int, ...]

    @property
    def total(self) -> int:
        return sum(self.counts)


def place_rows(
    units: Iterable[Unit], columns: Sequence[tuple[str, int]], sides: Sequence[str]
) -> list[PlaceRow]:
    """Units by place and size rank, side by side. `columns` are (label, rank)."""
    counted: dict[tuple[str, str], dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for unit in units:
        if unit.state in Unit.ON_HAND:
            counted[(unit.component.side, unit.place.name)][unit.component.size_rank] += 1
    return [
        PlaceRow(side, place, tuple(ranks[rank] for _label, rank in columns))
        for side in sides
        for (at_side, place), ranks in sorted(counted.items())
        if at_side == side
    ]


def family_units(*, site: Site, family: Family) -> list[Unit]:
    """The units of a family that are at the site and not used up, by size and date. One query."""
    gone = (Unit.State.IMPLANTED, Unit.State.WASTED, Unit.State.RETURNED, Unit.State.OPENED)
    rows = Unit.objects.filter(site=site, component__family=family).exclude(state__in=gone)
    return list(
        rows.select_related("component", "owner", "place").order_by(
            "component__side", "component__size_rank", "component__second_rank", "expires", "pk"
        )
    )


def family_piles(*, site: Site, family: Family) -> list[Pile]:
    """The piles of a family with something in them. One query."""
    rows = Pile.objects.filter(site=site, component__family=family, quantity__gt=0)
    return list(rows.select_related("component", "place").order_by("component__size_rank", "expires", "pk"))


def held_words(unit_ids: Iterable[int]) -> dict[int, str]:
    """For what each unit is held: the case's reference, or the list's theatre and day. One query."""
    holds = Hold.objects.filter(unit_id__in=list(unit_ids), ended_at__isnull=True)
    words = {}
    for hold in holds.select_related("case", "list__theatre"):
        if hold.case is not None:
            words[hold.unit_id] = hold.case.reference
        elif hold.list is not None:
            words[hold.unit_id] = f"{hold.list.theatre.name}, {sitetime(hold.list.day, 'day')}"
    return words
