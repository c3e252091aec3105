"""What can be labelled: labels ready to print, or why not; with a fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.utils.dateformat import format as date_words
from django.utils.translation import gettext as _

from trays.catalogue.models import PackLevel, Side
from trays.identifiers import gs1, ours
from trays.identifiers.gs1 import Malformed
from trays.instruments.models import Pack, PackState
from trays.instruments.queries import set_facts
from trays.instruments.ready import Lack, PackFacts, SetFacts, state_word
from trays.labels.kinds import LabelKind, PackLabel, Refused, ShelfLabel, UnitLabel
from trays.labels.living import lives_at
from trays.places.models import Place
from trays.stock.models import Unit
from trays.symbols import lettering

# A label says that the pack is sterile: it is made for packs that are being made ready or are ready.
LABELLED_STATES = (
    PackState.ASSEMBLED,
    PackState.PACKED,
    PackState.IN_LOAD,
    PackState.RELEASED,
    PackState.STORED,
    PackState.ISSUED,
)


def pack_labels(
    *, site_ids: Iterable[int], ids: Iterable[int] | None = None
) -> tuple[PackLabel | Refused, ...]:
    """Labels of packs that have not left the sites for good, by set and tray. Five queries."""
    packs = Pack.objects.filter(set__site_id__in=list(site_ids)).exclude(state__in=Pack.GONE)
    if ids is not None:
        packs = packs.filter(pk__in=list(ids))
    rows = list(
        packs.select_related("set__version__design", "set__site", "packed_by").order_by("set__code", "tray")
    )
    sets = set_facts(site_ids={row.set.site_id for row in rows}, set_ids={row.set_id for row in rows})
    facts = {pack.pk: (one, pack) for one in sets for pack in one.packs}
    return tuple(_pack_label(row, *facts[row.pk]) for row in rows)


def _pack_label(row: Pack, whole: SetFacts, facts: PackFacts) -> PackLabel | Refused:
    number = f"{row.number}-{row.round}"
    trays = len(whole.packs) + len(whole.missing_trays)
    tray = _("tray %(n)s of %(all)s") % {"n": row.tray, "all": trays}
    refuse = _refusing(row.pk, row.set.site_id, f"{number}, {whole.design}")
    if row.state not in LABELLED_STATES:
        return refuse(
            _("The pack is %(state)s: it gets its label when it is packed.")
            % {"state": state_word(row.state)}
        )
    if not row.giai:
        return refuse(_("The pack has no asset number on file."))
    try:
        payload = ours.pack_label("", row.giai, str(row.round))
    except Malformed as why:
        return refuse(str(why))
    packed = row.packed_at.astimezone(ZoneInfo(row.set.site.zone)).date() if row.packed_at else None
    return PackLabel(
        row_id=row.pk,
        site_id=row.set.site_id,
        called=number,
        payload=payload,
        name=whole.design,
        number=number,
        tray=tray,
        contents_list=_("v %(version)s") % {"version": whole.version},
        load=row.load,
        weight=_("%(kg)s kg") % {"kg": f"{row.weight_grams / 1000:.1f}"} if row.weight_grams else "",
        packed_by=row.packed_by.name if row.packed_by else "",
        packed_on=day_words(packed),
        short_count=sum(lack.missing for lack in facts.lacks),
        short=tuple(_lack_words(lack) for lack in facts.lacks),
        sterile_until=day_words(row.sterile_until),
    )


def _lack_words(lack: Lack) -> str:
    return f"{lack.missing} × {lack.name}" if lack.missing > 1 else lack.name


def day_words(day: date | None) -> str:
    """ "24 Nov 2027": a day on a label is always words; "" for none."""
    return date_words(day, "j M Y") if day else ""


def shelf_labels(
    *, site_ids: Iterable[int], ids: Iterable[int] | None = None
) -> tuple[ShelfLabel | Refused, ...]:
    """Labels of the sites' places where things are kept, in walking order. Four queries."""
    kinds = (Place.Kind.STORE, Place.Kind.SHELF, Place.Kind.STERILE_STORE, Place.Kind.TROLLEY)
    places = Place.objects.filter(site_id__in=list(site_ids), kind__in=kinds)
    if ids is not None:
        places = places.filter(pk__in=list(ids))
    rows = list(places.select_related("room").order_by("site", "walk", "code"))
    living = lives_at([row.pk for row in rows])
    return tuple(_shelf_label(row, *living.get(row.pk, ("", ""))) for row in rows)


def _shelf_label(row: Place, what: str, size: str) -> ShelfLabel | Refused:
    refuse = _refusing(row.pk, row.site_id, f"{row.code}, {row.name}")
    if not row.gln:
        return refuse(_("The place has no location number on file."))
    try:
        payload = ours.place(row.gln, row.extension)
    except Malformed as why:
        return refuse(str(why))
    named = row.room is None or row.name.startswith(row.room.name)
    room = row.name if named or row.room is None else f"{row.room.name} · {row.name}"
    return ShelfLabel(
        row_id=row.pk,
        site_id=row.site_id,
        called=row.code,
        payload=payload,
        place=row.code,
        room=room,
        what=what,
        size=size,
    )


def unit_labels(
    *, site_ids: Iterable[int], ids: Iterable[int] | None = None
) -> tuple[UnitLabel | Refused, ...]:
    """Labels of units on hand whose own code does not scan, by component and date. Two queries."""
    rows = list(_units(site_ids, ids))
    codes: dict[int, list[str]] = defaultdict(list)
    levels = PackLevel.objects.filter(component_id__in={row.component_id for row in rows}, quantity=1)
    for component_id, code in levels.order_by("code").values_list("component_id", "code"):
        codes[component_id].append(code)
    return tuple(_unit_label(row, codes[row.component_id]) for row in rows)


def _units(site_ids: Iterable[int], ids: Iterable[int] | None) -> QuerySet[Unit]:
    units = Unit.objects.filter(site_id__in=list(site_ids), state__in=Unit.ON_HAND, code_reads=False)
    if ids is not None:
        units = units.filter(pk__in=list(ids))
    return units.select_related("component__supplier").order_by("component__code", "expires", "pk")


def _unit_label(row: Unit, codes: Sequence[str]) -> UnitLabel | Refused:
    component = row.component
    marks = " ".join(word for word in (row.lot, row.serial) if word)
    refuse = _refusing(row.pk, row.site_id, f"{component.name}, {marks}")
    if not codes:
        return refuse(_("No trade code for a single unit is on file, so the maker’s identity is not known."))
    if len(codes) > 1:
        return refuse(
            _("Two trade codes for a single unit are on file; which one the box bears is not known.")
        )
    try:
        payload = gs1.build(_identity(row, codes[0]))
    except Malformed as why:
        return refuse(str(why))
    size = f"{component.size} × {component.second}" if component.second else component.size
    side = "" if component.side == Side.NONE else str(component.get_side_display()).upper()
    return UnitLabel(
        row_id=row.pk,
        site_id=row.site_id,
        called=f"{component.name}, {marks}",
        payload=payload,
        name=lettering.bare_name(component.name, size, _("size %(size)s") % {"size": size}, side),
        size=size,
        side=side,
        maker=component.supplier.name,
        lot=row.lot,
        serial=row.serial,
        use_by=day_words(row.expires),
    )


def _identity(row: Unit, gtin: str) -> list[tuple[str, str]]:
    """The maker's own elements: GTIN, use-by, lot, serial, as far as the unit has them."""
    elements = [("01", gtin.rjust(14, "0"))]
    if row.expires:
        elements.append(("17", f"{row.expires:%y%m%d}"))
    elements += [(ai, value) for ai, value in (("10", row.lot), ("21", row.serial)) if value]
    return elements


def _refusing(row_id: int, site_id: int, called: str) -> Callable[[str], Refused]:
    return lambda why: Refused(row_id, site_id, called, why)


@dataclass(frozen=True, slots=True)
class Group:
    """Rows that are chosen together: a set's packs, a store's shelves; `code` stands in addresses."""

    code: str
    name: str
    ids: frozenset[int]


def groups(kind: LabelKind, *, site_ids: Iterable[int]) -> tuple[Group, ...]:
    """What the rows of a kind can be narrowed to, in order; units are not grouped. At most one query."""
    sites = list(site_ids)
    found: dict[tuple[str, str], set[int]] = defaultdict(set)
    if kind is LabelKind.PACK:
        packs = Pack.objects.filter(set__site_id__in=sites).order_by("set__code")
        for code, name, pk in packs.values_list("set__code", "set__version__design__name", "pk"):
            found[(code, f"{code}, {name}")].add(pk)
    elif kind is LabelKind.SHELF:
        places = Place.objects.filter(site_id__in=sites).select_related("room").order_by("walk", "code")
        for place in places:
            store = place.room or place
            found[(store.code, store.name)].add(place.pk)
    return tuple(Group(code, name, frozenset(ids)) for (code, name), ids in found.items())


_LABELS = {LabelKind.PACK: pack_labels, LabelKind.SHELF: shelf_labels, LabelKind.UNIT: unit_labels}


def labels_of(
    kind: LabelKind, *, site_ids: Iterable[int], ids: Iterable[int] | None = None
) -> tuple[PackLabel | ShelfLabel | UnitLabel | Refused, ...]:
    """Labels of a kind, or the reason why a row gets none; `ids` narrows them. At most five queries."""
    return _LABELS[kind](site_ids=site_ids, ids=ids)


def sites_of(kind: LabelKind, ids: Iterable[int]) -> set[int]:
    """The sites of the rows with these keys. One query."""
    chosen = list(ids)
    if kind is LabelKind.PACK:
        return set(Pack.objects.filter(pk__in=chosen).values_list("set__site_id", flat=True))
    if kind is LabelKind.SHELF:
        return set(Place.objects.filter(pk__in=chosen).values_list("site_id", flat=True))
    return set(Unit.objects.filter(pk__in=chosen).values_list("site_id", flat=True))
