"""Scans on the pages of stores: goods come in, go to a shelf or another site, are counted or sought."""

from datetime import timedelta

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.desks.found import Finding
from cases.desks.page_scan import Scan, done, wrong
from cases.picks.not_this import Goods
from trays.catalogue.queries import component_by_gtin
from trays.places.models import Place
from trays.staff.access import may, sites_for
from trays.stock import scanning, taking
from trays.stock.models import Unit
from trays.stock.models_notices import NoticeOutcome, SafetyNotice
from trays.stock.models_takes import Sighting, SightingKind, StockTake, TakeStatus
from trays.stock.models_transfers import CarriedState, Transfer, TransferStatus
from trays.stock.noticing import notice_account
from trays.stock.queries_takes import elsewhere_on_site, sightings_of, units_lying
from trays.stock.services import SHELVES, units_move
from trays.stock.transferring import transfer_add
from trays.stock.transfers_in import transfer_receive
from trays.stock.which import unit_arriving, unit_sought, unit_to_move, unit_to_send
from trays.web.errors import Refusal

TWICE = timedelta(seconds=3)
"""The same label sooner than this is one box read twice."""


def goods_in(scan: Scan) -> Finding | None:
    """Receiving: the label is taken in, or fills the form; a shelf is where things go."""
    setting = scanning.setting_of(scanning.query_of_page(scan.request), by=scan.by)
    if setting is None:
        return None
    if isinstance(scan.thing, Place):
        place = _shelf(scan, scan.thing, site_id=setting.site.pk)
        kept = scanning.Setting(setting.site, place, setting.tenure, setting.supplier, setting.straight)
        return Finding(what=place.name, url=scanning.address("receiving", kept))
    if not scan.reading.device:
        raise wrong(scan, _("Scan the label of a box that came in, or the shelf it goes to."))
    said = scanning.label_take(
        label=scanning.label_of(scan.reading), setting=setting, by=scan.by, at=scan.at, client_key=scan.key
    )
    if said is None:
        return None
    if said.url:
        return Finding(what=scan.found.what, url=said.url)
    return done(said.what, "", said.next_step)


def shelf_first(scan: Scan) -> Finding | None:
    """Move: the shelf to which things go is chosen."""
    if not isinstance(scan.thing, Place):
        if not isinstance(scan.thing, Goods):
            return None
        raise wrong(scan, _("Scan the shelf to which it goes first."))
    place = _shelf(scan, scan.thing)
    return Finding(what=place.name, url=reverse("stock-moves-to", args=[place.pk]))


def move_here(scan: Scan) -> Finding | None:
    """To a shelf: each thing scanned is there now; another shelf takes its place."""
    place = Place.objects.select_related("site").filter(pk=scan.pk).first()
    if place is None or not may(by=scan.by, act="move_stock", site_id=place.site_id):
        return None
    if isinstance(scan.thing, Place):
        return shelf_first(scan)
    goods = _goods(scan)
    unit = unit_to_move(component=goods.component, lot=goods.lot, serial=goods.serial, place=place)
    before = unit.place.name
    units_move(by=scan.by, units=[unit], place=place, at=scan.at, client_key=scan.key)
    words = {"unit": unit, "place": place.name, "before": before}
    return done(_("%(unit)s is at %(place)s now.") % words, _("It was at %(before)s.") % words)


def transfer_scan(scan: Scan) -> Finding | None:
    """A transfer: before it is sent things are listed; then they are taken in at the other site."""
    row = Transfer.objects.select_related("source", "target").filter(pk=scan.pk).first()
    if row is None:
        return None
    if row.status == TransferStatus.MADE and may(by=scan.by, act="transfer_stock", site_id=row.source_id):
        return _listed(scan, row)
    arriving = row.status in (TransferStatus.SENT, TransferStatus.DIFFERS)
    if arriving and may(by=scan.by, act="transfer_stock", site_id=row.target_id):
        return _arrived(scan, row)
    return None


def place_to_count(scan: Scan) -> Finding | None:
    """Stock takes: a place opens its count, or begins it."""
    if not isinstance(scan.thing, Place):
        return None
    place = _shelf(scan, scan.thing)
    if not may(by=scan.by, act="count_stock", site_id=place.site_id):
        return None
    row = StockTake.objects.filter(place=place, status=TakeStatus.COUNTING).first()
    if row is None:
        row = taking.take_begin(by=scan.by, place=place, at=scan.at, client_key=scan.key)
    return Finding(what=place.name, url=reverse("stock-take", args=[row.pk]))


def seen_here(scan: Scan) -> Finding | None:
    """A count: what is scanned lies here."""
    row = StockTake.objects.select_related("site", "place").filter(pk=scan.pk).first()
    if row is None or row.status != TakeStatus.COUNTING:
        return None
    if not may(by=scan.by, act="count_stock", site_id=row.site_id):
        return None
    if isinstance(scan.thing, Place):
        return place_to_count(scan)
    goods = _goods(scan)
    _check_not_twice(scan, row, goods)
    seen = taking.thing_see(
        by=scan.by, take=row, component=goods.component, lot=goods.lot, serial=goods.serial, at=scan.at,
        client_key=scan.key,
    )  # fmt: skip
    return _seen_words(row, seen)


def sought_found(scan: Scan) -> Finding | None:
    """A safety notice: what is scanned has been found, and stands apart."""
    notice = SafetyNotice.objects.filter(pk=scan.pk).first()
    site = sites_for(by=scan.by, act="recall_stock").first()
    if notice is None or notice.closed_at is not None or site is None:
        return None
    if isinstance(scan.thing, Place):
        return None
    goods = _goods(scan)
    sought = unit_sought(
        notice=notice, component=goods.component, lot=goods.lot, serial=goods.serial, site=site
    )
    notice_account(
        by=scan.by, sought=sought, outcome=NoticeOutcome.SECURED, at=scan.at, client_key=scan.key
    )
    left = notice.units.filter(outcome=NoticeOutcome.OPEN).count()
    still = ngettext("%(n)s is not accounted for.", "%(n)s are not accounted for.", left) % {"n": left}
    return done(
        _("%(unit)s: found and set apart.") % {"unit": sought.unit},
        "",
        still if left else _("Every unit is accounted for."),
    )


def _listed(scan: Scan, row: Transfer) -> Finding:
    goods = _goods(scan)
    unit = unit_to_send(transfer=row, component=goods.component, lot=goods.lot, serial=goods.serial)
    transfer_add(by=scan.by, transfer=row, units=[unit], at=scan.at, client_key=scan.key)
    count = row.units.filter(state=CarriedState.LISTED).count()
    said = ngettext("%(n)s unit is listed.", "%(n)s units are listed.", count) % {"n": count}
    return done(_("%(unit)s: listed.") % {"unit": unit}, said)


def _arrived(scan: Scan, row: Transfer) -> Finding:
    if isinstance(scan.thing, Place):
        place = _shelf(scan, scan.thing, site_id=row.target_id)
        return Finding(
            what=place.name, url=f"{reverse('transfer', args=[row.pk])}?place={place.pk}"
        )
    chosen = scanning.query_of_page(scan.request).get("place", "")
    places = Place.objects.filter(site=row.target_id, kind__in=SHELVES)
    shelf = places.filter(pk=int(chosen) if chosen.isdecimal() and len(chosen) < 19 else 0).first()
    if shelf is None:
        raise wrong(scan, _("Scan the shelf to which things go first."))
    goods = _goods(scan)
    unit = unit_arriving(transfer=row, component=goods.component, lot=goods.lot, serial=goods.serial)
    transfer_receive(by=scan.by, transfer=row, units=[unit], place=shelf, at=scan.at, client_key=scan.key)
    fresh = Unit.objects.get(pk=unit.pk)
    left = row.units.filter(state__in=(CarriedState.SENT, CarriedState.MISSING)).count()
    still = ngettext("%(n)s is still to come.", "%(n)s are still to come.", left) % {"n": left}
    said = _("%(unit)s: arrived, at %(place)s.") % {"unit": unit, "place": shelf}
    if fresh.state == Unit.State.QUARANTINE:
        said = _("%(unit)s: arrived. A safety notice names its lot: set it apart.") % {"unit": unit}
    return done(said, still if left else _("All has arrived."))


def _seen_words(take: StockTake, seen: Sighting) -> Finding:
    words = {"what": seen.component, "lot": seen.serial or seen.lot, "kind": seen.get_kind_display().lower()}
    what = _("%(what)s, %(lot)s: %(kind)s.") % words
    if seen.kind == SightingKind.MORE:
        away = elsewhere_on_site(take, [seen]).get((seen.component_id, seen.lot), [])
        places = sorted({unit.place.name for unit in away})
        where = _("The record holds it at %(places)s too.") % {"places": ", ".join(places)} if places else ""
        return done(what, where, _("Say below which it is; or take it back if it was scanned twice."))
    if seen.kind == SightingKind.NOT_STOCK:
        return done(what, "", _("Set it aside and tell quality."))
    ids = {one.unit_id for one in sightings_of(take) if one.unit_id}
    lying = set(units_lying(place_id=take.place_id).values_list("pk", flat=True))
    count = {"seen": len(lying & ids), "all": len(lying)}
    return done(what, _("%(seen)s of %(all)s units seen.") % count)


def _check_not_twice(scan: Scan, take: StockTake, goods: Goods) -> None:
    """A box read twice at once is one box; another one just like it comes later."""
    last = Sighting.objects.filter(take=take, by=scan.by).order_by("-pk").first()
    if last is None or goods.serial or last.kind == SightingKind.TAKEN_BACK:
        return
    same = (last.component_id, last.lot) == (goods.component.pk, goods.lot)
    if same and scan.at - last.at < TWICE:
        raise Refusal(
            "scanned-twice",
            _("The same box was read twice; it is counted once."),
            _("If there is another one just like it, scan that now."),
        )


def _goods(scan: Scan) -> Goods:
    """What the label says, also of things that are on file at other sites only. Raises Refusal."""
    if isinstance(scan.thing, Goods):
        return scan.thing
    reading = scan.reading
    known = component_by_gtin(reading.device) if reading.device else None
    if known is not None:
        return Goods(known[0], reading.lot or "", reading.serial or "")
    if scan.found.refused:
        raise Refusal(scan.found.code, scan.found.what, scan.found.next_step)
    raise wrong(scan, _("Scan the label of a unit."))


def _shelf(scan: Scan, place: Place, *, site_id: int | None = None) -> Place:
    """The scanned place, where stock may lie. Raises Refusal."""
    if place.kind not in SHELVES or (site_id is not None and place.site_id != site_id):
        raise wrong(scan, _("Scan a shelf or a store of this site."))
    return place
