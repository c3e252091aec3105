"""Booking: a case onto a list, with its constructs, slots and predictions."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings import checks
from cases.bookings.kinds import Booked, FamilySheet, PlanBook, PlanSheet, PredictedSize, SlotKey, SlotSheet
from cases.bookings.models import Case, CaseSlot, Construct, Prediction, Procedure, TheatreList
from cases.bookings.notices import late_notice, overlap_notices
from cases.bookings.once import Answer, act_once
from cases.bookings.positions import lists_lock, position_taken, start_estimated
from cases.bookings.queries import plan_book
from trays.catalogue.models import Family
from trays.ledger.append import Line, record
from trays.places.models import Place
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal


def list_enter(
    *, theatre: Place, day: date, session: str, at: datetime, surgeon: Person | None = None
) -> tuple[TheatreList, tuple[Line, ...]]:
    """The theatre's list for that session, opened if there is none; with the ledger line if it was opened.

    Half of an act: call it inside the act's transaction; it writes no event and checks no role.
    Raises Refusal: not-a-theatre, session-unknown, day-too-far.
    """
    checks.day_checked(theatre, day, session, at=at)
    kept, opened = TheatreList.objects.select_related("site", "theatre", "surgeon").get_or_create(
        theatre=theatre, day=day, session=session, defaults={"site": theatre.site, "surgeon": surgeon}
    )
    return kept, (Line("list", kept.pk, "", "open"),) if opened else ()


def list_open(
    *,
    by: Person,
    theatre: Place,
    day: date,
    session: str,
    at: datetime,
    surgeon: Person | None = None,
    client_key: UUID | None = None,
) -> TheatreList:
    """Open an empty list for a session; the one that is there already is returned as it is.

    Raises NotAllowed, and Refusal as list_enter.
    """
    require(by=by, act="book_case", site_id=theatre.site_id)

    def work() -> TheatreList:
        kept, lines = list_enter(theatre=theatre, day=day, session=session, at=at, surgeon=surgeon)
        if lines:
            record(
                chain=theatre.site.code, verb="list.open", by=by, at=at, lines=lines,
                place_id=theatre.pk, client_key=client_key, answer={"list": kept.pk},
            )  # fmt: skip
        return kept

    def replay(answer: Answer) -> TheatreList:
        return TheatreList.objects.select_related("site", "theatre", "surgeon").get(pk=answer["list"])

    return act_once(verb="list.open", by=by, client_key=client_key, work=work, replay=replay)


def case_enter(
    *,
    by: Person,
    theatre_list: TheatreList,
    procedure: Procedure,
    surgeon: Person | None,
    reference: str,
    sides: Sequence[str],
    at: datetime,
    position: int | None = None,
    starts_at: datetime | None = None,
    minutes: int | None = None,
    urgency: str = Case.Urgency.PLANNED,
    predictions: Mapping[SlotKey, PredictedSize] | None = None,
    families: Mapping[SlotKey, Family] | None = None,
    plans: PlanBook | None = None,
) -> Booked:
    """Put a case on a list: one construct per side, its slots from the plan, its first predictions.

    Half of an act: call it inside the act's transaction; it writes no event and checks no role. All that can
    be refused is refused before anything is written. An emergency is taken like any other, at once; an
    overlap and a start that has passed are told in the notices, not refused.

    Parameters
    ----------
    sides : "left", "right", both, or none of them for a procedure without sides.
    predictions, families : by (side, plan slot code); side "none" where the procedure has none.
    position : 1 and up; None is the end. The case that has it, and those after it, move one down.
    starts_at : aware; None is estimated from the case before it on the list.
    minutes : None is the procedure's usual length.
    plans : all plans, read once by a caller who enters many cases; None reads this procedure's.

    Raises
    ------
    Refusal with one of the codes of `checks`, or no-plan, no-family-fits, family-not-in-plan, unknown-slot,
    slot-not-predicted, side-not-booked.
    """
    reference = checks.reference_checked(reference)
    wanted = checks.sides_checked(procedure, sides)
    minutes = checks.minutes_checked(procedure.minutes if minutes is None else minutes)
    urgency = checks.urgency_checked(urgency)
    position = checks.position_checked(position)
    if starts_at is not None:
        checks.start_checked(theatre_list, starts_at)
    sheet = plan_for(procedure, surgeon, plans or plan_book([procedure.pk]))
    chosen = _families_chosen(sheet, wanted, families or {})
    kept = _predictions_checked(sheet, wanted, chosen, predictions or {})
    checks.reference_free(site=theatre_list.site, reference=reference)

    lists_lock(theatre_list)
    position = position_taken(theatre_list, position)
    start = starts_at or start_estimated(theatre_list, position, at=at)
    case = Case.objects.create(
        site=theatre_list.site, reference=reference, list=theatre_list, position=position,
        procedure=procedure, plan=sheet.plan, surgeon=surgeon, starts_at=start, minutes=minutes,
        urgency=urgency, late_entry=start < at, booked_at=at, booked_by=by,
    )  # fmt: skip
    _slots_make(case, sheet, wanted, chosen, kept, at=at)
    notices = (*late_notice(case), *overlap_notices(case))
    return Booked(case, notices, (Line("case", case.pk, "", Case.Status.BOOKED),))


def case_book(
    *,
    by: Person,
    procedure: Procedure,
    surgeon: Person | None,
    reference: str,
    sides: Sequence[str],
    at: datetime,
    theatre_list: TheatreList | None = None,
    theatre: Place | None = None,
    day: date | None = None,
    session: str = TheatreList.Session.ALL_DAY,
    position: int | None = None,
    starts_at: datetime | None = None,
    minutes: int | None = None,
    urgency: str = Case.Urgency.PLANNED,
    predictions: Mapping[SlotKey, PredictedSize] | None = None,
    families: Mapping[SlotKey, Family] | None = None,
    client_key: UUID | None = None,
) -> Booked:
    """Book one case, on a list that is there or on one opened for theatre, day and session.

    Takes what `case_enter` takes. Writes one event "case.book"; the same client key gives the case again.
    Raises NotAllowed; Refusal as case_enter and list_enter.
    """
    place = theatre_list.theatre if theatre_list is not None else theatre
    on_day = theatre_list.day if theatre_list is not None else day
    if place is None or on_day is None:
        raise ValueError("a case is booked on a list, or in a theatre on a day")
    require(by=by, act="book_case", site_id=place.site_id)

    def work() -> Booked:
        kept = theatre_list
        opened: tuple[Line, ...] = ()
        if kept is None:
            kept, opened = list_enter(theatre=place, day=on_day, session=session, at=at, surgeon=surgeon)
        booked = case_enter(
            by=by, theatre_list=kept, procedure=procedure, surgeon=surgeon, reference=reference, sides=sides,
            at=at, position=position, starts_at=starts_at, minutes=minutes, urgency=urgency,
            predictions=predictions, families=families,
        )  # fmt: skip
        lines = (*opened, *booked.lines)
        record(
            chain=kept.site.code, verb="case.book", by=by, at=at, lines=lines,
            place_id=place.pk, client_key=client_key, answer={"case": booked.case.pk},
        )  # fmt: skip
        return Booked(booked.case, booked.notices, lines)

    return act_once(verb="case.book", by=by, client_key=client_key, work=work, replay=case_again)


def case_again(answer: Answer) -> Booked:
    """The answer to a repeated act on a case: the case as it is now, with what is to be known of it now."""
    case = Case.objects.select_related("site", "list__site", "list__theatre", "surgeon").get(
        pk=answer["case"]
    )
    return Booked(case, (*late_notice(case), *overlap_notices(case)))


def plan_for(procedure: Procedure, surgeon: Person | None, plans: PlanBook) -> PlanSheet:
    """The surgeon's plan for the procedure, else the one for all. Refused with no-plan."""
    sheet = plans.sheet_for(procedure.pk, surgeon.pk if surgeon else None)
    if sheet is None:
        raise Refusal(
            "no-plan",
            _("There is no procedure plan on file for %(procedure)s.") % {"procedure": procedure.name},
            _("Import a plan for this surgeon or for all, then book the case."),
            field="procedure",
        )
    return sheet


def _families_chosen(
    sheet: PlanSheet, sides: Sequence[str], families: Mapping[SlotKey, Family]
) -> dict[SlotKey, FamilySheet]:
    for key in families:
        _slot_of(sheet, sides, key)
    chosen = {}
    for side in sides:
        for slot in sheet.slots:
            key = (side, slot.slot.code)
            chosen[key] = family_in_plan(slot, side, families.get(key))
    return chosen


def family_in_plan(slot: SlotSheet, side: str, family: Family | None) -> FamilySheet:
    """The sheet of the family wanted, or of the first that fits and is not kept in reserve."""
    if family is None:
        fitting = slot.fitting(side)
        if not fitting:
            raise Refusal(
                "no-family-fits",
                _("The plan has no family for %(slot)s that can be used here.") % {"slot": slot.slot.name},
                _("Have the procedure plan put right, then book the case."),
                field="procedure",
            )
        return fitting[0]
    found = slot.of(family)
    if found is None or not found.fits(side):
        raise Refusal(
            "family-not-in-plan",
            _("The plan does not allow %(family)s for %(slot)s.")
            % {"family": family.name, "slot": slot.slot.name},
            _("Choose one of the families of the plan."),
            field="family",
        )
    return found


def _predictions_checked(
    sheet: PlanSheet,
    sides: Sequence[str],
    chosen: Mapping[SlotKey, FamilySheet],
    predictions: Mapping[SlotKey, PredictedSize],
) -> dict[SlotKey, PredictedSize]:
    for key, predicted in predictions.items():
        slot = _slot_of(sheet, sides, key).slot
        if not slot.predicted:
            raise Refusal(
                "slot-not-predicted",
                _("%(slot)s is not predicted: the plan brings all of it.") % {"slot": slot.name},
                _("Leave its sizes out."),
            )
        checks.prediction_checked(chosen[key], key[0], predicted, slot_name=slot.name)
    return dict(predictions)


def _slot_of(sheet: PlanSheet, sides: Sequence[str], key: SlotKey) -> SlotSheet:
    side, code = key
    slot = sheet.slot(code)
    if slot is None:
        raise Refusal(
            "unknown-slot",
            _("The plan %(plan)s has no slot “%(slot)s”.") % {"plan": sheet.plan.code, "slot": code[:40]},
            _("It has: %(slots)s.") % {"slots": ", ".join(one.slot.code for one in sheet.slots)},
        )
    if side not in sides:
        raise Refusal(
            "side-not-booked",
            _("%(slot)s is given for a side that the case does not have.") % {"slot": slot.slot.name},
            _("Give its sizes for the side that is booked."),
        )
    return slot


def _slots_make(
    case: Case,
    sheet: PlanSheet,
    sides: Sequence[str],
    chosen: Mapping[SlotKey, FamilySheet],
    predictions: Mapping[SlotKey, PredictedSize],
    *,
    at: datetime,
) -> None:
    constructs = Construct.objects.bulk_create(
        [Construct(case=case, number=number, side=side) for number, side in enumerate(sides, start=1)]
    )
    slots = {
        (construct.side, one.slot.code): CaseSlot(
            construct=construct, plan_slot=one.slot, family=chosen[construct.side, one.slot.code].family
        )
        for construct in constructs
        for one in sheet.slots
    }
    CaseSlot.objects.bulk_create(slots.values())
    Prediction.objects.bulk_create(
        [prediction_row(slots[key], predicted, at=at) for key, predicted in predictions.items()]
    )


def prediction_row(slot: CaseSlot, predicted: PredictedSize, *, at: datetime) -> Prediction:
    """An unsaved prediction for a slot."""
    return Prediction(
        slot=slot, method=predicted.method, planner=predicted.planner, made_at=at,
        low_rank=predicted.low_rank, high_rank=predicted.high_rank, confidence=predicted.confidence,
    )  # fmt: skip
