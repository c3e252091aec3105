"""What a scan does on the pages of a loan: takes in what came, or counts it back."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any
from uuid import UUID

from django.http import HttpRequest
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from trays.catalogue.models import Component
from trays.catalogue.queries import component_by_gtin
from trays.identifiers import ours
from trays.identifiers.meaning import Kind, Reading
from trays.instruments.models import InstrumentSet
from trays.loans.arriving import SetCame, loan_arrive, loan_units_arrive
from trays.loans.models import Loan, LoanSet, LoanUnit
from trays.loans.showing import is_used
from trays.parties.models import Tenure
from trays.places.models import Place, PlaceKind
from trays.staff.models import Person
from trays.stock.arriving import Goods
from trays.web.errors import Refusal

SHELVES = (PlaceKind.SHELF, PlaceKind.STORE)
MOST_SEEN = 2000
TWICE_SECONDS = 3.0
_LAST = "loan_last_scan"


@dataclass(frozen=True, slots=True)
class Said:
    """The answer to a scan: what, why, next."""

    what: str
    why: str = ""
    next_step: str = ""


@dataclass(frozen=True, slots=True)
class Scanner:
    """One scan on a loan's page: on whose behalf, when, under which key."""

    request: HttpRequest
    loan: Loan
    by: Person
    at: datetime
    key: UUID | None = None


class Shelf:
    """Where sealed units go that are scanned in, as this person has chosen it."""

    name = "loan_shelf"

    def __init__(self, request: HttpRequest) -> None:
        self.session = request.session

    def put(self, place: Place) -> None:
        """Let what follows go to a place."""
        kept = self._kept()
        self.session[self.name] = {**kept, str(place.site_id): place.pk}

    def at(self, site_id: int) -> Place | None:
        """The chosen place of the site; else its first shelf or store. One query, two at most."""
        rows = Place.objects.filter(site_id=site_id, kind__in=SHELVES)
        chosen = self._kept().get(str(site_id))
        return (rows.filter(pk=chosen).first() if chosen else None) or rows.order_by("walk", "code").first()

    def _kept(self) -> dict[str, Any]:
        kept: Any = self.session.get(self.name)
        return kept if isinstance(kept, dict) else {}


class Seen:
    """The sealed units of a loan that were seen in the count out under way, kept in the session."""

    def __init__(self, request: HttpRequest, loan_id: int) -> None:
        self.session = request.session
        self.name = f"loan_seen_{loan_id}"

    @property
    def ids(self) -> list[int]:
        kept: Any = self.session.get(self.name)
        return [int(pk) for pk in kept] if isinstance(kept, list) else []

    def add(self, pk: int) -> None:
        self.session[self.name] = [*self.ids, pk][-MOST_SEEN:]

    def drop(self, ids: Iterable[int]) -> None:
        gone = set(ids)
        self.session[self.name] = [pk for pk in self.ids if pk not in gone]

    def clear(self) -> None:
        self.session.pop(self.name, None)


def not_twice(scan: Scanner, reading: Reading, page: str) -> None:
    """Refuse a label without a serial that was read on this page a moment ago: one box read twice.

    Raises Refusal "scanned-twice".
    """
    name = f"{_LAST}_{page}"
    kept: Any = scan.request.session.get(name)
    digest = sha256(reading.raw).hexdigest()
    now = scan.at.timestamp()
    scan.request.session[name] = [scan.loan.pk, digest, now]
    if reading.serial or not isinstance(kept, list) or kept[:2] != [scan.loan.pk, digest]:
        return
    if 0 <= now - float(kept[2]) < TWICE_SECONDS:
        raise Refusal(
            "scanned-twice",
            _("The same box was read twice; it counts once."),
            _("If there is another one just like it, scan that now."),
        )


def arrival_scan(scan: Scanner, reading: Reading, thing: Any) -> Said | None:
    """A shelf, a set or a sealed unit on the page of a loan's arrival; None for what has no place there.

    Raises Refusal "unknown-item", "not-a-shelf", "no-such-set-expected", and what the services raise.
    """
    if isinstance(thing, Place):
        return _shelf(scan, thing)
    if isinstance(thing, InstrumentSet):
        return _set(scan, thing.code, thing.grai or "", thing.version.design.asset_type)
    if isinstance(reading.key, ours.SetKey):
        key = reading.key
        return _set(scan, key.serial or key.asset_type, f"0{key.asset_type}{key.serial}", key.asset_type)
    if reading.kind in (Kind.TRADE_ITEM, Kind.HIBC):
        return _unit(scan, reading)
    return None


def count_scan(scan: Scanner, reading: Reading) -> Said | None:
    """A sealed unit on the page of the count out: it is here. None for what is no sealed unit.

    Raises Refusal "not-of-this-loan", "all-seen-already", "unknown-item".
    """
    if reading.kind not in (Kind.TRADE_ITEM, Kind.HIBC):
        return None
    component, _boxed = _component(reading)
    not_twice(scan, reading, "out")
    return unit_seen(scan, component, reading.lot or "", reading.serial or "")


def unit_seen(scan: Scanner, component: Component, lot: str, serial: str) -> Said:
    """The same for what was typed: the next one of this lot or serial that was not seen yet."""
    rows = scan.loan.units.filter(open=True, unit__component=component).select_related("unit__component")
    named = [row for row in rows.order_by("pk") if _named(row, lot, serial)]
    if not named:
        raise Refusal(
            "not-of-this-loan",
            _("%(what)s, %(code)s, did not come with loan %(loan)s.")
            % {"what": component, "code": serial or lot or _("no lot"), "loan": scan.loan.number},
            _("Put it back where it belongs."),
        )
    seen = Seen(scan.request, scan.loan.pk)
    left = [row for row in named if row.pk not in seen.ids]
    if not left:
        raise Refusal(
            "all-seen-already",
            ngettext(
                "The %(n)s of it that came has been counted.",
                "All %(n)s of it that came have been counted.",
                len(named),
            )
            % {"n": len(named)},
            _("If there is one more, it belongs to somebody else: look at its owner."),
        )
    # One that is recorded as used is counted last: the others are expected here.
    row = min(left, key=is_used)
    seen.add(row.pk)
    why = _("It is recorded as used; the count will say so.") if is_used(row) else ""
    more = len(left) - 1
    said = ngettext("%(n)s more of it came.", "%(n)s more of it came.", more) % {"n": more} if more else ""
    return Said(_("%(what)s, %(code)s: here.") % {"what": component, "code": serial or lot}, why, said)


def _named(row: LoanUnit, lot: str, serial: str) -> bool:
    return row.unit.serial == serial if serial else bool(lot) and row.unit.lot == lot


def _shelf(scan: Scanner, place: Place) -> Said:
    if place.site_id != scan.loan.site_id or place.kind not in SHELVES:
        raise Refusal(
            "not-a-shelf",
            _("%(place)s is no shelf of this site.") % {"place": place.name},
            _("Scan the label of a shelf or store."),
        )
    Shelf(scan.request).put(place)
    return Said(_("Sealed units that you scan now go to %(place)s.") % {"place": place.name})


def _set(scan: Scanner, code: str, grai: str, asset_type: str) -> Said:
    row = _expected(scan.loan, asset_type)
    hall = (
        Place.objects.filter(site_id=scan.loan.site_id, kind=PlaceKind.STERILE_SERVICES)
        .order_by("walk")
        .first()
    )
    if hall is None:
        raise Refusal(
            "no-sterile-services",
            _("This site has no place in sterile services on file."),
            _("Import its places first."),
        )
    loan_arrive(
        by=scan.by, loan=scan.loan, came=[SetCame(row, code, grai)], place=hall, at=scan.at,
        client_key=scan.key,
    )  # fmt: skip
    return Said(
        _("Set %(code)s, %(design)s: here.") % {"code": code, "design": row.design.name},
        _("It is not sterile, whatever its wrap says."),
        _("Check it next."),
    )


def _expected(loan: Loan, asset_type: str) -> LoanSet:
    """The set of the loan that this one is: of the scanned kind, or the only one that has not come."""
    waiting = list(loan.sets.filter(open=True, set__isnull=True).select_related("design").order_by("number"))
    alike = [row for row in waiting if asset_type and row.design.asset_type == asset_type]
    if not alike and len(waiting) == 1 and not waiting[0].design.asset_type:
        alike = waiting
    if not alike:
        raise Refusal(
            "no-such-set-expected",
            _("No set of this kind is expected with loan %(loan)s.") % {"loan": loan.number},
            _("Look whether it belongs to another loan; else enter it by hand below."),
        )
    return alike[0]


def _component(reading: Reading) -> tuple[Component, int]:
    code = reading.gtin or reading.value("device") or ""
    found = component_by_gtin(code) if code else None
    if found is None:
        raise Refusal(
            "unknown-item",
            _("No item with the code %(code)s is on file.") % {"code": code or reading.text[:40]},
            _("Set it aside and ask stores to add it to the catalogue."),
        )
    return found


def _unit(scan: Scanner, reading: Reading) -> Said:
    component, boxed = _component(reading)
    not_twice(scan, reading, "in")
    place = Shelf(scan.request).at(scan.loan.site_id)
    if place is None:
        raise Refusal(
            "no-shelf", _("This site has no shelf or store on file."), _("Import its places first.")
        )
    goods = Goods(
        component=component, owner=scan.loan.supplier, tenure=Tenure.LOANED, place=place,
        lot=reading.lot or "", serial=reading.serial or "",
        expires=reading.expiry.day if reading.expiry else None,
    )  # fmt: skip
    loan_units_arrive(
        by=scan.by, loan=scan.loan, goods=goods, count=boxed, raw=reading.raw, at=scan.at,
        client_key=scan.key,
    )  # fmt: skip
    asked = scan.loan.items.filter(component=component).first()
    came = scan.loan.units.filter(unit__component=component).count()
    if asked is None:
        why = _("It was not asked for with this loan.")
    else:
        why = _("%(came)s of %(asked)s have come.") % {"came": came, "asked": asked.quantity}
    return Said(
        _("%(what)s, %(code)s: in, at %(place)s.")
        % {"what": component, "code": goods.serial or goods.lot, "place": place.name},
        why,
    )
