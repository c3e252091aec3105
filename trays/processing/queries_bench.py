"""Reading the bench: what waits there, a list line by line, the weight of the packing before."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import F, QuerySet
from django.utils.translation import gettext as _

from trays.instruments.models import ContentsLine, Pack, PackState
from trays.instruments.models_pieces import Spare
from trays.parties.models import Site
from trays.processing.gathering import shown_packs
from trays.processing.models import Assembly, AssemblyLine, Move, Shortfall

ON_BENCH = (PackState.CLEANED, PackState.ASSEMBLED)


@dataclass(frozen=True, slots=True)
class Waiting:
    """A pack that waits at the bench, and the list that was begun for it."""

    pack: Pack
    begun: Assembly | None


def bench_waiting(*, site: Site) -> list[Waiting]:
    """What is clean or assembled at a site, urgent ones first, then by how long they wait (two queries)."""
    packs = shown_packs().filter(set__site=site, state__in=ON_BENCH).order_by("-urgent", "since", "number")
    begun = {one.pack_id: one for one in _current().filter(pack__set__site=site, pack__state__in=ON_BENCH)}
    return [Waiting(pack, begun.get(pack.pk)) for pack in packs]


def current_assembly(pack: Pack) -> Assembly | None:
    """The list of a pack in the round that it is in."""
    return _current().filter(pack=pack).first()


def _current() -> QuerySet[Assembly]:
    rows = Assembly.objects.filter(round=F("pack__round"))
    return rows.select_related(
        "pack__set__site", "version", "begun_by", "closed_by", "checked_by", "packed_by", "short_by"
    )


@dataclass(frozen=True, slots=True)
class BenchLine:
    """One line of the list: what was found of it, and what it was known to lack when the list was begun."""

    line: ContentsLine
    found: AssemblyLine | None
    lacking: int

    @property
    def name(self) -> str:
        thing = self.line.instrument or self.line.rack_stock
        return thing.name if thing else ""

    @property
    def rack(self) -> bool:
        return self.line.rack_stock_id is not None

    @property
    def short(self) -> bool:
        """Whether it was looked at and is not whole."""
        return self.found is not None and self.found.present < self.line.quantity

    @property
    def blocks(self) -> bool:
        """Whether the list cannot be closed for it without a named person."""
        return self.short and self.line.critical

    @property
    def away(self) -> int:
        """How many are not in the tray."""
        return self.line.quantity - self.found.present if self.found else self.lacking

    @property
    def state(self) -> str:
        """One of LineState, or "" while nobody has looked."""
        return self.found.state if self.found else ""


@dataclass(frozen=True, slots=True)
class BenchList:
    """A contents list on the bench."""

    lines: tuple[BenchLine, ...]

    @property
    def sections(self) -> list[tuple[str, list[BenchLine]]]:
        """The lines by layer, as they come."""
        found: dict[str, list[BenchLine]] = defaultdict(list)
        for line in self.lines:
            found[line.line.section].append(line)
        return list(found.items())

    @property
    def open(self) -> list[BenchLine]:
        return [line for line in self.lines if line.found is None]

    @property
    def short(self) -> list[BenchLine]:
        return [line for line in self.lines if line.short]

    @property
    def blocked(self) -> list[BenchLine]:
        return [line for line in self.lines if line.blocks]

    @property
    def there(self) -> int:
        return len(self.lines) - len(self.open) - len(self.short)

    def numbered(self, number: str) -> BenchLine | None:
        return next((line for line in self.lines if str(line.line.number) == number), None)


def bench_list(pack: Pack, assembly: Assembly) -> BenchList:
    """The list of a pack with what was found (three queries)."""
    lines = ContentsLine.objects.filter(version=assembly.version_id, tray=pack.tray)
    found = {one.line_id: one for one in assembly.lines.select_related("instead", "by")}
    lacking: dict[int, int] = defaultdict(int)
    rows = Shortfall.objects.filter(pack=pack, ended_at__isnull=True).values_list("line_id", "quantity")
    for line_id, quantity in rows:
        lacking[line_id] += quantity
    return BenchList(
        tuple(
            BenchLine(line, found.get(line.pk), lacking[line.pk])
            for line in lines.select_related("instrument", "rack_stock").order_by("number")
        )
    )


def spares_at(site: Site, *, type_id: int | None) -> list[Spare]:
    """Spares of a site that are left, those of the wanted type first (one query)."""
    rows = Spare.objects.filter(site=site, quantity__gt=0).select_related("type", "place")
    return sorted(rows, key=lambda spare: (spare.type_id != type_id, spare.type.name, spare.pk))


def seen_last(pack: Pack) -> Move | None:
    """When and where the pack was opened last, or issued: where what it lacks may be (one query)."""
    rows = pack.moves.filter(after__in=[PackState.OPENED, PackState.ISSUED]).select_related("place")
    return rows.order_by("-sequence").first()


def weight_before(pack: Pack) -> int | None:
    """What the pack weighed when it was packed the last time before this, in grams (one query)."""
    rows = pack.assemblies.filter(round__lt=pack.round, weight_grams__isnull=False).order_by("-round")
    return rows.values_list("weight_grams", flat=True).first()


def numbers_of(lines: Iterable[BenchLine]) -> str:
    """Line numbers as people say them: "3", "3, 7", "24 to 26"."""
    numbers = [line.line.number for line in lines]
    first, last = numbers[0] if numbers else 0, numbers[-1] if numbers else 0
    if len(numbers) > 2 and numbers == list(range(first, last + 1)):
        return _("%(first)s to %(last)s") % {"first": first, "last": last}
    return ", ".join(str(number) for number in numbers)
