"""How each piece brought in ended: set once; put right by a further entry that points at the first."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import Case, CaseSlot, Construct
from cases.reservations import locking
from cases.usage.marking import in_theatre, mark_within, right_marked
from cases.usage.models import Brought, Card, Fate, MarkKind, Why
from cases.usage.models_record import StopMoment
from cases.usage.outcomes import outcomes_within
from cases.usage.queries import USED, exempt_slots, next_number
from cases.usage.within import is_late, locked_brought, moment, open_within, out_of_quarantine
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.parties.models import Party, Tenure
from trays.staff.models import Person
from trays.stock.apart import apart_within
from trays.stock.models import Unit
from trays.stock.models_apart import ApartCause
from trays.stock.moving import pile_add_within, piles_take_within, step_within
from trays.web.errors import Refusal

_STATE_OF = {
    Fate.IMPLANTED: Unit.State.IMPLANTED,
    Fate.IMPLANTED_REMOVED: Unit.State.WASTED,
    Fate.WASTED: Unit.State.WASTED,
}
WITH_WHY = (Fate.WASTED, Fate.IMPLANTED_REMOVED)


def fate_record(
    *,
    by: Person,
    brought: Brought,
    fate: str,
    at: datetime,
    why: str = "",
    why_words: str = "",
    card: str = "",
    happened_at: datetime | None = None,
    client_key: UUID | None = None,
) -> Brought:
    """Say what became of something brought in. Use passes the title of a supplier's unit; what comes back
    sealed goes to the shelf again.

    Raises Refusal "fate-known" (correct it instead), "why-missing", "say-why", "corrected-meanwhile";
    NotAllowed "not-your-act".
    """
    case = brought.case
    own_role = in_theatre(by=by, site_id=case.site_id)
    _check_why(fate, why, why_words)

    def work() -> Brought:
        over = locking.lock(cases=[case.pk]).cases[case.pk].status == Case.Status.CLOSED
        row = locked_brought(brought)
        if row.fate:
            raise Refusal(
                "fate-known",
                _("What became of it is on file already: %(fate)s.")
                % {"fate": row.get_fate_display().lower()},
                _("If that is wrong, correct it; the first entry stays to be seen."),
            )
        sealed = row.opened_at is None
        moved = _ended(
            row, fate, by=by, at=at, why=why, why_words=why_words, card=card, happened_at=happened_at
        )
        row.save(update_fields=[*_OF_FATE, "opened_at", "opened_by"])
        lines = [Line("brought", row.pk, "sealed" if sealed else "opened", fate), *moved]
        lines += _marked(row, own_role=own_role, by=by, at=at)
        if over:
            lines += outcomes_within(case)
        _record(row, "fate.record", by, at, happened_at, client_key, lines)
        return row

    return _once("fate.record", by, client_key, work)


def fate_correct(
    *,
    by: Person,
    brought: Brought,
    fate: str,
    at: datetime,
    why: str = "",
    why_words: str = "",
    card: str = "",
    construct: Construct | None = None,
    slot: CaseSlot | None = None,
    happened_at: datetime | None = None,
    client_key: UUID | None = None,
) -> Brought:
    """Put a fate right: a further entry that points at the one it corrects; stock and title follow.

    Raises Refusal "no-fate-yet", "why-missing", "say-why", "brought-elsewhere" (it lies on another table
    since), "corrected-meanwhile", "another-case"; NotAllowed "not-your-act".
    """
    case = brought.case
    own_role = in_theatre(by=by, site_id=case.site_id)
    _check_why(fate, why, why_words)

    def work() -> Brought:
        over = locking.lock(cases=[case.pk]).cases[case.pk].status == Case.Status.CLOSED
        old = locked_brought(brought)
        if not old.fate:
            raise Refusal(
                "no-fate-yet",
                _("What became of it is not on file yet."),
                _("Record it; nothing is to correct."),
            )
        _check_place(case, construct, slot)
        _check_not_elsewhere(old)
        Brought.objects.filter(pk=old.pk).update(replaced_at=at)
        row = _anew(old, case, by, at, construct, slot)
        lines = _back(old, row)
        lines += _ended(
            row, fate, by=by, at=at, why=why, why_words=why_words, card=card,
            happened_at=happened_at or old.fate_at,
        )  # fmt: skip
        row.save(force_insert=True)
        lines.insert(0, Line("brought", row.pk, old.fate, fate))
        lines.append(
            mark_within(
                case=case,
                kind=MarkKind.CORRECTED,
                by=by,
                at=at,
                brought=row,
                words=f"{old.get_fate_display()} → {row.get_fate_display()}",
            )  # fmt: skip
        )
        lines += _marked(row, own_role=own_role, by=by, at=at)
        if over:
            lines += outcomes_within(case)
        _record(row, "fate.correct", by, at, happened_at, client_key, lines)
        return row

    return _once("fate.correct", by, client_key, work)


def card_record(
    *, by: Person, brought: Brought, card: str, at: datetime, client_key: UUID | None = None
) -> Brought:
    """Say that the implant card was given, or that there is none for this; once.

    Raises Refusal "card-known", "no-such-card"; NotAllowed.
    """
    case = brought.case
    own_role = in_theatre(by=by, site_id=case.site_id)
    if card not in Card.values:
        raise Refusal("no-such-card", _("This is no answer about the card."), _("Load the page again."))

    def work() -> Brought:
        locking.lock(cases=[case.pk])
        row = locked_brought(brought)
        if row.card:
            raise Refusal(
                "card-known",
                _("On file already: %(card)s.") % {"card": row.get_card_display()},
                _("If that is wrong, correct the entry."),
            )
        row.card = card
        row.save(update_fields=["card"])
        lines = right_marked(own_role=own_role, case=case, by=by, at=at, brought=row)
        _record(row, "card.record", by, at, None, client_key, lines)
        return row

    return _once("card.record", by, client_key, work)


# One fate


def _check_why(fate: str, why: str, why_words: str) -> None:
    if fate not in Fate.values:
        raise Refusal("no-such-fate", _("This is no fate of a unit."), _("Load the page again."))
    if fate in WITH_WHY and why not in Why.values:
        raise Refusal(
            "why-missing", _("No reason is given."), _("Choose why it was not left in."), field="why"
        )
    if fate in WITH_WHY and why == Why.OTHER and not why_words.strip():
        raise Refusal("say-why", _("No reason is given."), _("Say it in a few words."), field="why_words")


def _check_place(case: Case, construct: Construct | None, slot: CaseSlot | None) -> None:
    wrong = construct is not None and construct.case_id != case.pk
    if wrong or (slot is not None and (construct is None or slot.construct_id != construct.pk)):
        raise Refusal("another-case", _("This is not of the same case."), _("Load the page again."))


def _check_not_elsewhere(old: Brought) -> None:
    if old.unit_id is None or old.fate != Fate.RETURNED_SEALED:
        return
    rows = Brought.objects.filter(unit_id=old.unit_id, replaced_at__isnull=True).exclude(pk=old.pk)
    other = rows.exclude(fate=Fate.RETURNED_SEALED).select_related("case").first()
    if other is not None:
        raise Refusal(
            "brought-elsewhere",
            _("Since then it has been brought in for case %(case)s.") % {"case": other.case.reference},
            _("Look at that case's record; it can have been used only once."),
        )


def _anew(
    old: Brought, case: Case, by: Person, at: datetime, construct: Construct | None, slot: CaseSlot | None
) -> Brought:
    """The same thing under a new number, with no fate yet."""
    kept = {
        field.attname: getattr(old, field.attname)
        for field in Brought._meta.concrete_fields
        if field.name not in ("id", "number", "corrects", "replaced_at", *_OF_FATE)
    }
    row = Brought(**kept)
    row.case, row.unit, row.pile, row.owner, row.component = (
        case,
        old.unit,
        old.pile,
        old.owner,
        old.component,
    )
    row.number, row.corrects, row.by, row.recorded_at = next_number(case), old, by, at
    if construct is not None:
        row.construct, row.slot = construct, slot
    return row


_OF_FATE = ("fate", "why", "why_words", "fate_at", "fate_by", "title_passed", "card")


def _back(old: Brought, row: Brought) -> list[Line]:
    """Undo what the first entry did to the stock, as far as the new one does not say the same."""
    lines: list[Line] = []
    unit = row.unit
    if old.title_passed and unit is not None and old.owner is not None:
        lines.append(_title(unit, old.owner, old.tenure))
    if unit is not None and unit.state in (Unit.State.IMPLANTED, Unit.State.WASTED):
        lines += step_within(units=[unit], state=Unit.State.OPENED)
    if row.pile is not None and old.fate == Fate.RETURNED_SEALED:
        lines.append(piles_take_within(pile=row.pile, pieces=1, after="table"))
    return lines


def _ended(
    row: Brought,
    fate: str,
    *,
    by: Person,
    at: datetime,
    why: str,
    why_words: str,
    card: str,
    happened_at: datetime | None,
) -> list[Line]:
    """Set the fate, and let stock and title follow. The caller saves the row."""
    lines: list[Line] = []
    if fate in USED and row.opened_at is None:
        lines += open_within(row, by=by, at=at, happened_at=happened_at)
    with_why = fate in WITH_WHY
    row.fate, row.fate_at, row.fate_by = fate, moment(happened_at, at), by
    row.why, row.why_words = (why, why_words.strip()[:200]) if with_why else ("", "")
    row.title_passed = (
        fate in USED and row.tenure in (Tenure.CONSIGNED, Tenure.LOANED) and row.why != Why.FAULTY
    )
    row.card = _card(row, card)
    lines += _sealed_again(row, by=by, at=at) if fate == Fate.RETURNED_SEALED else _used(row, by=by, at=at)
    return lines


def _card(row: Brought, card: str) -> str:
    """What was said of the card; a kind of slot for which the site gives none needs no word."""
    if row.fate != Fate.IMPLANTED:
        return ""
    if card:
        return card
    slot = row.slot.plan_slot.code if row.slot is not None else ""
    if not slot and row.component is not None:
        slot = row.component.family.slot
    return Card.NOT_APPLICABLE if slot and slot in exempt_slots(row.case.site_id) else ""


def _used(row: Brought, *, by: Person, at: datetime) -> list[Line]:
    lines: list[Line] = []
    unit = row.unit
    if unit is None:
        return lines
    state = _STATE_OF[Fate(row.fate)]
    out_of_quarantine(unit, by=by, at=at)
    if unit.state != state:
        lines += step_within(units=[unit], state=state)
    if row.title_passed:
        lines.append(_title(unit, row.case.site.party, Tenure.OWNED))
    return lines


def _sealed_again(row: Brought, *, by: Person, at: datetime) -> list[Line]:
    """Back to its shelf. One that had been taken down as opened is looked at first."""
    if row.pile is not None:
        return [pile_add_within(pile=row.pile, pieces=1, before="table")] if row.opened_at is None else []
    unit = row.unit
    if unit is None:
        return []
    if unit.state == Unit.State.OPENED:
        note = _("Back from theatre sealed, though taken down as opened.")
        return apart_within(units=[unit], cause=ApartCause.UNSURE, note=note, by=by, at=at)
    return step_within(units=[unit], state=Unit.State.SHELF) if unit.state == Unit.State.PICKED else []


def _title(unit: Unit, owner: Party, tenure: str) -> Line:
    before = unit.owner.code
    unit.owner, unit.tenure = owner, tenure
    unit.save(update_fields=["owner", "tenure"])
    return Line("title", unit.pk, before, unit.owner.code)


def _marked(row: Brought, *, own_role: bool, by: Person, at: datetime) -> list[Line]:
    kinds: dict[str, str] = {}
    fated = row.fate_at or at
    if is_late(row.case, fated, at):
        kinds[MarkKind.LATE] = ""
    if row.fate == Fate.RETURNED_SEALED and row.opened_at is not None:
        kinds[MarkKind.NOT_SEALED] = ""
    if row.fate == Fate.IMPLANTED and row.construct is not None and row.slot_id is not None:
        if not StopMoment.objects.filter(construct=row.construct, at__lte=fated).exists():
            kinds[MarkKind.NO_STOP] = ""
    lines = [
        mark_within(case=row.case, kind=kind, by=by, at=at, brought=row, words=words)
        for kind, words in kinds.items()
    ]
    return lines + right_marked(own_role=own_role, case=row.case, by=by, at=at, brought=row)


def _record(
    row: Brought,
    verb: str,
    by: Person,
    at: datetime,
    happened_at: datetime | None,
    client_key: UUID | None,
    lines: list[Line],
) -> None:
    record(
        chain=row.case.site.code, verb=verb, by=by, at=at, happened_at=happened_at,
        place_id=row.case.list.theatre_id, reason=row.why, client_key=client_key, answer={"brought": row.pk},
        lines=lines or [Line("brought", row.pk)],
    )  # fmt: skip


def _once(verb: str, by: Person, client_key: UUID | None, work: Callable[[], Brought]) -> Brought:
    return act_once(
        verb=verb,
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Brought.objects.select_related("case__site", "component__family").get(
            pk=answer["brought"]
        ),
    )
