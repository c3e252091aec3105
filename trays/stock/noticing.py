"""Safety notices by lot: every unit found and set apart at once at all sites, accounted for, closed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Q
from django.utils.translation import gettext as _

from trays.catalogue.models import Component
from trays.ledger.append import HOUSE, Line, record
from trays.ledger.once import act_once
from trays.parties.models import Party, Site
from trays.staff.access import require
from trays.staff.models import Person, Signature
from trays.staff.signing import Signer, sign
from trays.stock.apart import apart_within
from trays.stock.models import Unit, UnitState
from trays.stock.models_apart import ApartCause
from trays.stock.models_notices import NoticeLot, NoticeOutcome, NoticeUnit, SafetyNotice
from trays.stock.moving import lock_units
from trays.stock.notices_open import piles_named
from trays.stock.numbers import next_number
from trays.web.errors import Refusal

# Still on a shelf: taken off it by the notice itself. What is on its way is set apart when it arrives.
SEIZED = (UnitState.SHELF, UnitState.PICKED)


@dataclass(frozen=True, slots=True)
class LotNamed:
    """One lot that a notice names; "" for every lot of the item."""

    component: Component
    lot: str = ""


def notice_open(
    *,
    by: Person,
    site: Site,
    supplier: Party,
    lots: Sequence[LotNamed],
    reason: str,
    reference: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> SafetyNotice:
    """Open a notice: its units are quarantined at every site, held for nobody, and listed where they are.

    Raises Refusal "reason-missing", "nothing-chosen", "other-suppliers-item"; NotAllowed.
    """
    require(by=by, act="recall_stock", site_id=site.pk)
    _check_named(supplier, lots, reason)

    def work() -> SafetyNotice:
        named = Q()
        for one in lots:
            named |= Q(component=one.component, lot=one.lot) if one.lot else Q(component=one.component)
        locked = lock_units(Unit.objects.filter(named).values_list("pk", flat=True))
        made = SafetyNotice.objects.create(
            number=next_number(SafetyNotice, "SN"), supplier=supplier, reference=reference.strip()[:40],
            reason=reason.strip()[:200], site=site, opened_at=at, opened_by=by,
        )  # fmt: skip
        NoticeLot.objects.bulk_create(
            [NoticeLot(notice=made, component=one.component, lot=one.lot) for one in set(lots)]
        )
        NoticeUnit.objects.bulk_create(
            [
                NoticeUnit(
                    notice=made, unit=unit, state_then=unit.state, site_then_id=unit.site_id,
                    **_outcome_then(unit, by, at),
                )
                for unit in locked
            ],
            batch_size=500,
        )  # fmt: skip
        seized = [unit for unit in locked if unit.state in SEIZED]
        lines = [Line("safety_notice", made.pk, "", "open", 0)]
        lines += apart_within(units=seized, cause=ApartCause.NOTICE, note=made.number, by=by, at=at)
        return _write("notice.open", made, by, at, client_key, lines)

    return _once("notice.open", by, client_key, work)


def notice_account(
    *,
    by: Person,
    sought: NoticeUnit,
    outcome: str,
    note: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> NoticeUnit:
    """Account for one unit: found and set apart; or, by quality only, used, or untraceable.

    Raises Refusal "notice-closed", "accounted-already", "not-in-hand" (secured, but not in quarantine);
    NotAllowed.
    """
    act = "recall_stock" if outcome == NoticeOutcome.SECURED else "close_recall"
    require(by=by, act=act, site_id=sought.unit.site_id)

    def work() -> NoticeUnit:
        (unit,) = lock_units([sought.unit_id])
        notice = _open(sought.notice)
        row = NoticeUnit.objects.select_for_update().get(pk=sought.pk)
        if row.outcome != NoticeOutcome.OPEN:
            raise Refusal(
                "accounted-already",
                _("This unit is accounted for: %(how)s.") % {"how": row.get_outcome_display().lower()},
                _("Load the page again."),
            )
        if outcome == NoticeOutcome.SECURED and unit.state != UnitState.QUARANTINE:
            raise Refusal(
                "not-in-hand",
                _("%(unit)s is not in quarantine.") % {"unit": unit},
                _("Find it and set it apart, then say that it is secured."),
            )
        row.outcome, row.outcome_at, row.outcome_by, row.note = outcome, at, by, note.strip()[:200]
        row.save(update_fields=["outcome", "outcome_at", "outcome_by", "note"])
        record(
            chain=unit.site.code, verb="notice.account", by=by, at=at, client_key=client_key,
            answer={"notice_unit": row.pk, "notice": notice.pk},
            lines=[Line("unit", unit.pk, "sought", outcome)],
        )  # fmt: skip
        return row

    return act_once(
        verb="notice.account", by=by, client_key=client_key, work=work,
        replay=lambda answer: NoticeUnit.objects.get(pk=answer["notice_unit"]),
    )  # fmt: skip


def notice_close(
    *,
    by: Signer,
    notice: SafetyNotice,
    conclusion: str,
    at: datetime,
    client_key: UUID | None = None,
) -> SafetyNotice:
    """Close a notice, signed. Its units stay set apart: each goes back, is disposed of, or is released.

    Raises Refusal "units-open" (says how many), "pieces-left" (of consumables: where), "notice-closed",
    "reason-missing"; NotAllowed.
    """
    person = by.person
    require(by=person, act="close_recall", site_id=notice.site_id)
    if not conclusion.strip():
        raise Refusal("reason-missing", _("Nothing is said of how it ended."), _("Say it in a few words."))

    def work() -> SafetyNotice:
        row = _open(notice)
        still = row.units.filter(outcome=NoticeOutcome.OPEN).count()
        if still:
            raise Refusal(
                "units-open",
                _("%(count)s units are not accounted for.") % {"count": still},
                _("Secure each, or say what became of it, then close."),
            )
        if pile := piles_named(row).first():
            raise Refusal(
                "pieces-left",
                _("%(pieces)s pieces of %(what)s, lot %(lot)s, lie at %(place)s, %(site)s.")
                % {
                    "pieces": pile.quantity, "what": pile.component, "lot": pile.lot, "place": pile.place,
                    "site": pile.site,
                },
                _("Take them away, count the place, and sign for the difference; then close."),
            )  # fmt: skip
        row.closed_at, row.closed_by, row.conclusion = at, person, conclusion.strip()[:200]
        row.signature = sign(
            by=by, meaning=Signature.Meaning.CLOSED, subject="safety_notice", subject_id=row.pk,
            content=content_of(row), at=at,
        )  # fmt: skip
        row.save(update_fields=["closed_at", "closed_by", "conclusion", "signature"])
        lines = [Line("safety_notice", row.pk, "open", "closed")]
        return _write("notice.close", row, person, at, client_key, lines)

    return _once("notice.close", person, client_key, work)


def content_of(notice: SafetyNotice) -> dict[str, object]:
    """What a signature under a notice is bound to: the lots named, and how each unit was accounted for."""
    return {
        "notice": notice.number,
        "lots": sorted([one.component.code, one.lot] for one in notice.lots.select_related("component")),
        "units": sorted([one.unit_id, one.outcome] for one in notice.units.all()),
        "conclusion": notice.conclusion,
    }


def _check_named(supplier: Party, lots: Sequence[LotNamed], reason: str) -> None:
    if not reason.strip():
        raise Refusal("reason-missing", _("No reason is given."), _("Say in a few words what is wrong."))
    if not lots:
        raise Refusal("nothing-chosen", _("No lot is named."), _("Name at least one item."))
    for one in lots:
        if one.component.supplier_id != supplier.pk:
            raise Refusal(
                "other-suppliers-item",
                _("%(what)s is not an item of %(supplier)s.")
                % {"what": one.component, "supplier": supplier},
                _("Look at the notice again; open one for each supplier."),
            )


def _outcome_then(unit: Unit, by: Person, at: datetime) -> dict[str, object]:
    """What left before is no work for anybody; what was used is told to the quality lead, one by one."""
    if unit.state in (UnitState.RETURNED, UnitState.DISPOSED):
        return {"outcome": NoticeOutcome.GONE, "outcome_at": at, "outcome_by": by}
    return {"outcome": NoticeOutcome.OPEN}


def _open(notice: SafetyNotice) -> SafetyNotice:
    row = SafetyNotice.objects.select_for_update().get(pk=notice.pk)
    if row.closed_at is not None:
        raise Refusal("notice-closed", _("This notice is closed."), _("Open a new one if need be."))
    return row


def _write(
    verb: str, row: SafetyNotice, by: Person, at: datetime, client_key: UUID | None, lines: list[Line]
) -> SafetyNotice:
    # It holds at every site, so it stands in the chain of the house.
    record(
        chain=HOUSE, verb=verb, by=by, at=at, client_key=client_key, answer={"notice": row.pk}, lines=lines
    )
    return row


def _once(
    verb: str, by: Person, client_key: UUID | None, work: Callable[[], SafetyNotice]
) -> SafetyNotice:
    return act_once(
        verb=verb, by=by, client_key=client_key, work=work,
        replay=lambda answer: SafetyNotice.objects.get(pk=answer["notice"]),
    )  # fmt: skip
