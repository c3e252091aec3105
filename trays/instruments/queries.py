"""Reading sets: what is ready, what is not and why, with the same few queries for one set or a site's."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import F, IntegerField, OuterRef, Subquery
from django.db.models.functions import Coalesce

from trays.catalogue.models import Component
from trays.instruments.models import ContentsLine, DesignServes, InstrumentSet, Pack, PackLine, PackState
from trays.instruments.ready import Lack, PackFacts, SetFacts


def set_facts(
    *, site_ids: Iterable[int], set_ids: Iterable[int] | None = None, design_ids: Iterable[int] | None = None
) -> tuple[SetFacts, ...]:
    """The sets of the sites (or those among them that are named), in order of code. Four queries in all.

    A set that has been sent back to its supplier is told only to whoever names it.
    Ask the result per day: ``facts.ready_on(day)``, ``facts.why_not(day)``; no further query follows.
    """
    sets = InstrumentSet.objects.filter(site_id__in=list(site_ids))
    if set_ids is None:
        sets = sets.exclude(packs__state=PackState.SENT_BACK)
    else:
        sets = sets.filter(pk__in=list(set_ids))
    if design_ids is not None:
        sets = sets.filter(version__design_id__in=list(design_ids))
    rows = list(sets.select_related("version__design").order_by("code"))
    chosen = [row.pk for row in rows]
    lacks = _lacks(chosen)
    packs = _packs(chosen, lacks)
    trays: dict[int, set[int]] = defaultdict(set)
    versions = {row.version_id for row in rows}
    lines = ContentsLine.objects.filter(version_id__in=versions)
    for version_id, tray in lines.order_by().values_list("version_id", "tray").distinct():
        trays[version_id].add(tray)
    return tuple(_set_facts(row, tuple(packs.get(row.pk, ())), trays[row.version_id]) for row in rows)


def _set_facts(row: InstrumentSet, packs: tuple[PackFacts, ...], trays: set[int]) -> SetFacts:
    design = row.version.design
    return SetFacts(
        pk=row.pk,
        code=row.code,
        design_id=design.pk,
        design=design.name,
        design_code=design.code,
        version=row.version.version,
        site_id=row.site_id,
        tenure=row.tenure,
        packs=packs,
        missing_trays=tuple(sorted(trays - {pack.tray for pack in packs})),
    )


def _packs(set_ids: list[int], lacks: Mapping[int, tuple[Lack, ...]]) -> dict[int, list[PackFacts]]:
    """The packs of each set, by tray."""
    rows = (
        Pack.objects.filter(set_id__in=set_ids)
        .order_by("set_id", "tray")
        .values_list(
            "set_id",
            "set__site_id",
            "place__site_id",
            "place__site__name",
            "bin",
            "pk",
            "number",
            "tray",
            "state",
            "sterile_until",
            "place_id",
            "place__name",
        )
    )
    found: dict[int, list[PackFacts]] = defaultdict(list)
    for row in rows:
        set_id, own_site, site, site_name, rack, pk = row[:6]
        elsewhere = "" if site == own_site else site_name
        found[set_id].append(PackFacts(*row[5:], lacks.get(pk, ()), elsewhere, rack))
    return found


def _lacks(set_ids: list[int]) -> dict[int, tuple[Lack, ...]]:
    """Contents lines of which a pack holds too few, by pack. A line not counted in holds none."""
    present = PackLine.objects.filter(pack=OuterRef("pk"), line=OuterRef("line_id")).values("present")
    rows = (
        Pack.objects.filter(set_id__in=set_ids, set__version__lines__tray=F("tray"))
        .annotate(
            line_id=F("set__version__lines"),
            line_number=F("set__version__lines__number"),
            wanted=F("set__version__lines__quantity"),
            critical=F("set__version__lines__critical"),
            instrument=F("set__version__lines__instrument__name"),
            rack=F("set__version__lines__rack_stock__name"),
        )
        .annotate(there=Coalesce(Subquery(present, output_field=IntegerField()), 0))
        .filter(there__lt=F("wanted"))
        .order_by("pk", "line_number")
        .values_list("pk", "line_number", "instrument", "rack", "wanted", "there", "critical")
    )
    found: dict[int, list[Lack]] = defaultdict(list)
    for pack_id, number, instrument, rack, wanted, there, critical in rows:
        found[pack_id].append(Lack(number, instrument or rack or "", wanted - there, critical))
    return {pack_id: tuple(lacks) for pack_id, lacks in found.items()}


@dataclass(frozen=True, slots=True)
class ContentsRow:
    """One contents line of a set against what its pack really holds; `present` None = not counted in."""

    tray: int
    pack: str
    number: int
    section: str
    name: str
    code: str
    rack_stock: bool
    wanted: int
    present: int | None
    critical: bool

    @property
    def missing(self) -> int:
        return max(0, self.wanted - (self.present or 0))


def contents_of(one: InstrumentSet) -> tuple[ContentsRow, ...]:
    """Every contents line of the set's version beside the actual line of its pack. Two queries."""
    actual = {
        (line.pack.tray, line.line_id): line
        for line in PackLine.objects.filter(pack__set=one).select_related("pack")
    }
    numbers = {line.pack.tray: line.pack.number for line in actual.values()}
    lines = ContentsLine.objects.filter(version_id=one.version_id).select_related("instrument", "rack_stock")
    rows = []
    for line in lines.order_by("tray", "number"):
        thing = line.instrument or line.rack_stock
        held = actual.get((line.tray, line.pk))
        rows.append(
            ContentsRow(
                tray=line.tray,
                pack=numbers.get(line.tray, ""),
                number=line.number,
                section=line.section,
                name=thing.name if thing else "",
                code=thing.code if thing else "",
                rack_stock=line.rack_stock_id is not None,
                wanted=line.quantity,
                present=held.present if held else None,
                critical=line.critical,
            )
        )
    return tuple(rows)


def serves_in_words(design_ids: Iterable[int]) -> dict[int, tuple[str, ...]]:
    """What each design serves: "Femoral component A 1–2"; a design that is not in it serves any size.

    Two queries: the bands, and the names of the sizes.
    """
    bands = list(DesignServes.objects.filter(design_id__in=list(design_ids)).select_related("family"))
    sizes = _size_names({band.family_id for band in bands})
    words: dict[int, list[str]] = defaultdict(list)
    for band in bands:
        first = sizes.get((band.family_id, band.first_rank), str(band.first_rank + 1))
        last = sizes.get((band.family_id, band.last_rank), str(band.last_rank + 1))
        run = first if first == last else f"{first}–{last}"
        words[band.design_id].append(f"{band.family.name} {run}")
    return {design_id: tuple(found) for design_id, found in words.items()}


def _size_names(family_ids: set[int]) -> dict[tuple[int, int], str]:
    rows = Component.objects.filter(family_id__in=family_ids).order_by()
    return {
        (family_id, rank): size
        for family_id, rank, size in rows.values_list("family_id", "size_rank", "size").distinct()
    }


def pack_by_number(number: str) -> Pack | None:
    """The pack with this number or GIAI, letters' case ignored only where that leads to one pack."""
    exact = Pack.objects.select_related("set", "place").filter(number=number).first()
    exact = exact or Pack.objects.select_related("set", "place").filter(giai=number).first()
    if exact is not None:
        return exact
    alike = list(Pack.objects.select_related("set", "place").filter(number__iexact=number)[:2])
    return alike[0] if len(alike) == 1 else None


def set_by_grai(grai: str) -> InstrumentSet | None:
    """The set with this GRAI, written with or without the leading 0 of the element string."""
    return InstrumentSet.objects.filter(grai__in=[grai, f"0{grai}"]).first()


def ready_count(facts: Iterable[SetFacts], day: date) -> int:
    """How many of the sets are ready on the day."""
    return sum(1 for one in facts if one.ready_on(day))
