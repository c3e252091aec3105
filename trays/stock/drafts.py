"""Goods whose code nobody knew: drafted, kept apart, and stock as soon as the draft is approved."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from trays.catalogue.adding import component_add_within
from trays.catalogue.models import Component, Family, FamilyKind, PackLevel
from trays.catalogue.models_drafts import CatalogueDraft, DraftStatus
from trays.identifiers.checkdigits import gtin14, is_digits
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.parties.models import Party, PartyKind, Site, Tenure
from trays.parties.queries import site_day
from trays.places.models import Place
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock import notices_open
from trays.stock.arriving import check_in_date, elsewhere, printable, serial_known, set_apart_rows
from trays.stock.models import Pile, Unit, UnitState
from trays.stock.models_apart import ApartCause
from trays.stock.models_arrivals import Arrival, ArrivalUnit
from trays.stock.moving import pile_add_within
from trays.web.errors import Refusal, Unreadable

MOST = 1000


@dataclass(frozen=True, slots=True)
class Described:
    """What stores say that an unknown code is: another code of an item, or a new one."""

    code: str
    quantity: int = 1
    component: Component | None = None
    family: Family | None = None
    new_family: str = ""
    kind: str = FamilyKind.IMPLANT
    name: str = ""
    size: str = ""
    second: str = ""
    side: str = "none"
    supplier: Party | None = None


@dataclass(frozen=True, slots=True)
class Came:
    """What came in under a code that is not on file, as its label says."""

    place: Place
    owner: Party
    tenure: str
    lot: str = ""
    serial: str = ""
    expires: date | None = None
    count: int = 1
    raw: bytes = b""


def draft_raise(
    *,
    by: Person,
    site: Site,
    described: Described,
    came: Came | None = None,
    at: datetime,
    client_key: UUID | None = None,
) -> CatalogueDraft:
    """Say what an unknown code is; with what came in of it, which is kept apart until that is approved.

    Of a code that is drafted already only the goods are added.

    Raises Refusal "code-known", "nothing-described", "pack-quantity", and those of a receipt; Unreadable
    "check-digit"; NotAllowed.
    """
    require(by=by, act="add_catalogue", site_id=site.pk)
    code = _checked_code(described.code)
    if PackLevel.objects.filter(code=code).exists():
        raise Refusal("code-known", _("This code is on file already."), _("Receive it as usual."))
    if came is not None:
        _check_came(came, site=site, at=at)

    def work() -> CatalogueDraft:
        draft = CatalogueDraft.objects.select_for_update().filter(code=code, status=DraftStatus.OPEN).first()
        lines = []
        if draft is None:
            _check_described(described)
            draft = CatalogueDraft.objects.create(
                site=site, code=code, quantity=described.quantity, raised_at=at, raised_by=by,
                **_as_described(described),
            )  # fmt: skip
            lines = [Line("catalogue_draft", draft.pk, "", draft.status)]
        if came is not None:
            made = Arrival.objects.create(
                site=site, place=came.place, draft=draft, lot=came.lot, serial=came.serial,
                expires=came.expires, count=came.count, owner=came.owner, tenure=came.tenure,
                raw=came.raw[:4096], at=at, by=by,
            )  # fmt: skip
            lines.append(Line("arrival", made.pk, "", "apart"))
        return _write("draft.raise", draft, by, at, client_key, lines)

    return _once("draft.raise", by, client_key, work)


def draft_correct(
    *,
    by: Person,
    draft: CatalogueDraft,
    described: Described,
    at: datetime,
    client_key: UUID | None = None,
) -> CatalogueDraft:
    """Say otherwise what a code is, before it is approved. Its code stays.

    Raises Refusal "draft-decided", "nothing-described", "pack-quantity"; NotAllowed.
    """
    require(by=by, act="add_catalogue", site_id=draft.site_id)
    _check_described(described)

    def work() -> CatalogueDraft:
        row = _open(draft)
        row.quantity = described.quantity
        for name, value in _as_described(described).items():
            setattr(row, name, value)
        row.save()
        lines = [Line("catalogue_draft", row.pk, row.status, row.status)]
        return _write("draft.correct", row, by, at, client_key, lines)

    return _once("draft.correct", by, client_key, work)


def draft_approve(
    *, by: Person, draft: CatalogueDraft, at: datetime, client_key: UUID | None = None
) -> CatalogueDraft:
    """Put the code on file; what came in of it is stock from now on, on the shelf where it was set.

    Raises Refusal "draft-decided", "same-person", and those of `component_add_within`; NotAllowed.
    """
    require(by=by, act="approve_catalogue", site_id=draft.site_id)

    def work() -> CatalogueDraft:
        row = _open(draft)
        if row.raised_by_id == by.pk:
            raise Refusal(
                "same-person",
                _("You said yourself what this code is; another person approves it."),
                _("Ask a colleague of quality or the coordinator."),
            )
        row.component = component_add_within(row)
        lines = [_decide(row, DraftStatus.APPROVED, "", by, at)]
        for arrival in row.arrivals.select_related("place", "site", "owner").order_by("pk"):
            lines += _become_stock(arrival, row.component, row.quantity, by, at)
        return _write("draft.approve", row, by, at, client_key, lines)

    return _once("draft.approve", by, client_key, work)


def draft_turn_down(
    *, by: Person, draft: CatalogueDraft, reason: str, at: datetime, client_key: UUID | None = None
) -> CatalogueDraft:
    """Turn a draft down; what came in of it never was stock, and goes back.

    Raises Refusal "draft-decided", "reason-missing"; NotAllowed.
    """
    require(by=by, act="approve_catalogue", site_id=draft.site_id)
    if not reason.strip():
        raise Refusal("reason-missing", _("No reason is given."), _("Say in a few words why."))

    def work() -> CatalogueDraft:
        row = _open(draft)
        lines = [_decide(row, DraftStatus.TURNED_DOWN, reason, by, at)]
        return _write("draft.turn-down", row, by, at, client_key, lines)

    return _once("draft.turn-down", by, client_key, work)


def _become_stock(
    arrival: Arrival, component: Component, in_each: int, by: Person, at: datetime
) -> list[Line]:
    """`in_each`: how many the code stands for, by the draft as it was approved."""
    if component.family.kind == FamilyKind.CONSUMABLE:
        pile, _made = Pile.objects.get_or_create(
            component=component, lot=arrival.lot or arrival.serial, expires=arrival.expires,
            owner=arrival.owner, place=arrival.place,
            defaults={"tenure": arrival.tenure, "site": arrival.site, "quantity": 0},
        )  # fmt: skip
        return [pile_add_within(pile=pile, pieces=arrival.count * in_each)]
    known = arrival.serial and Unit.objects.filter(component=component, serial=arrival.serial).first()
    if known:
        raise serial_known(known)
    notices = notices_open.naming(component_id=component.pk, lot=arrival.lot)
    gone_by = arrival.expires is not None and arrival.expires < site_day(arrival.site, at)
    cause = ApartCause.NOTICE if notices else ApartCause.OUT_OF_DATE if gone_by else ""
    units = [
        Unit.objects.create(
            component=component, lot=arrival.lot, serial=arrival.serial, expires=arrival.expires,
            owner=arrival.owner, tenure=arrival.tenure, site=arrival.site, place=arrival.place,
            state=UnitState.QUARANTINE if cause else UnitState.SHELF, received_at=arrival.at,
        )
        for _n in range(arrival.count * in_each)
    ]  # fmt: skip
    ArrivalUnit.objects.bulk_create([ArrivalUnit(arrival=arrival, unit=unit) for unit in units])
    if cause:
        set_apart_rows(units, cause=cause, note="", by=by, at=at)
    for notice in notices:
        notices_open.add_arrived(notice, units, by=by, at=at)
    return [Line("unit", unit.pk, "", unit.state, 1) for unit in units]


def _checked_code(code: str) -> str:
    text = code.strip()
    if not text or len(text) > 40 or not text.isprintable():
        raise Unreadable("code-unreadable", _("This is no trade code."), _("Scan the label again."))
    if not is_digits(text):
        return text
    try:
        return gtin14(text)
    except ValueError as wrong:
        raise Unreadable(
            "check-digit",
            _("The check digit of %(code)s does not hold.") % {"code": text},
            _("Scan it again, or type it as it stands below the bars."),
        ) from wrong


def _check_described(described: Described) -> None:
    if described.quantity < 1 or described.quantity > MOST:
        raise Refusal(
            "pack-quantity", _("A pack holds 1 to %(most)s.") % {"most": MOST}, _("Put the number right.")
        )
    if described.component is not None:
        return
    if (described.family is None and not described.new_family.strip()) or not described.name.strip():
        raise Refusal(
            "nothing-described",
            _("It is not said what this code is."),
            _("Name the item that it is another code of; or its family and its name."),
        )
    if described.supplier is None or described.supplier.kind != PartyKind.SUPPLIER:
        raise Refusal("no-supplier", _("No supplier is named."), _("Say who supplies it."))


def _check_came(came: Came, *, site: Site, at: datetime) -> None:
    if came.place.site_id != site.pk:
        raise elsewhere()
    if (came.tenure == Tenure.OWNED) != (came.owner.kind == PartyKind.HOSPITAL):
        raise Refusal(
            "tenure-of-owner",
            _("Owned goods belong to the hospital, consigned and loaned ones to a supplier."),
            _("Choose the owner that the delivery note names."),
        )
    check_in_date(came.expires, site=site, at=at)
    printable(came.lot)
    printable(came.serial)
    if not came.lot and not came.serial:
        raise Refusal("lot-or-serial", _("Neither lot nor serial is given."), _("Read them from the label."))
    if not 1 <= came.count <= (1 if came.serial else MOST):
        raise Refusal(
            "count-out-of-range",
            _("A serial names one unit; a receipt holds 1 to %(most)s.") % {"most": MOST},
            _("Put the number right."),
        )
    if came.serial and Arrival.objects.filter(draft__isnull=False, serial=came.serial).filter(
        draft__status=DraftStatus.OPEN
    ).exists():
        raise serial_known(None)


def _as_described(described: Described) -> dict[str, Any]:
    known = described.component is not None
    return {
        "component": described.component,
        "family": None if known else described.family,
        "new_family": "" if known or described.family else described.new_family.strip()[:120],
        "kind": described.family.kind if described.family else described.kind,
        "name": described.name.strip()[:160],
        "size": described.size.strip()[:20],
        "second": described.second.strip()[:20],
        "side": described.side,
        "supplier": described.component.supplier if described.component else described.supplier,
    }


def _open(draft: CatalogueDraft) -> CatalogueDraft:
    row = CatalogueDraft.objects.select_for_update().get(pk=draft.pk)
    if row.status != DraftStatus.OPEN:
        raise Refusal(
            "draft-decided",
            _("This draft is decided: %(state)s.") % {"state": row.get_status_display().lower()},
            _("Load the page again."),
        )
    return row


def _decide(row: CatalogueDraft, status: str, reason: str, by: Person, at: datetime) -> Line:
    row.status, row.reason, row.decided_at, row.decided_by = status, reason.strip()[:200], at, by
    row.save()
    return Line("catalogue_draft", row.pk, DraftStatus.OPEN, status)


def _write(
    verb: str, row: CatalogueDraft, by: Person, at: datetime, client_key: UUID | None, lines: list[Line]
) -> CatalogueDraft:
    record(
        chain=row.site.code, verb=verb, by=by, at=at, client_key=client_key, answer={"draft": row.pk},
        lines=lines,
    )  # fmt: skip
    return row


def _once(
    verb: str, by: Person, client_key: UUID | None, work: Callable[[], CatalogueDraft]
) -> CatalogueDraft:
    return act_once(
        verb=verb, by=by, client_key=client_key, work=work,
        replay=lambda answer: CatalogueDraft.objects.get(pk=answer["draft"]),
    )  # fmt: skip
