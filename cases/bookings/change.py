"""Changing a booked case where it stands, and adding predictions."""

from collections.abc import Mapping
from datetime import datetime
from enum import Enum
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings import checks
from cases.bookings.enter import case_again, family_in_plan, prediction_row
from cases.bookings.kinds import Booked, FamilySheet, Follow, Notice, PlanSheet, PredictedSize
from cases.bookings.models import Case, CaseSlot, Prediction
from cases.bookings.notices import overlap_notices
from cases.bookings.once import Answer, act_once
from cases.bookings.queries import plan_book, plan_sheet_of
from trays.catalogue.models import Family
from trays.ledger.append import Line, record
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal


class Keep(Enum):
    """Says "as it is" where None means "nobody"."""

    KEEP = "keep"


KEEP = Keep.KEEP


def case_locked(case: Case) -> Case:
    """The case as it is now, locked until the transaction ends; refused unless it is still booked.

    A caller who needs the list's order has locked the list before; a case that has left it is refused.
    """
    # The lock alone, then the reading: a case that changed its list while PostgreSQL waited for it would fall
    # out of a join with the list.
    list(Case.objects.select_for_update().filter(pk=case.pk).values_list("pk"))
    rows = Case.objects.select_related("site", "list__site", "list__theatre", "procedure")
    now = rows.get(pk=case.pk)
    checks.still_booked(now)
    if now.list_id != case.list_id:
        raise Refusal(
            "case-moved",
            _("Case %(reference)s has been moved to another list.") % {"reference": now.reference},
            _("Open it again and look at where it is now."),
        )
    return now


def case_change(
    *,
    by: Person,
    case: Case,
    at: datetime,
    starts_at: datetime | None = None,
    minutes: int | None = None,
    reference: str | None = None,
    urgency: str | None = None,
    surgeon: Person | None | Keep = KEEP,
    families: Mapping[int, Family] | None = None,
    client_key: UUID | None = None,
    follow: Follow | None = None,
) -> Booked:
    """Change what is said of a booked case; what is left out stays. Its list and position stay.

    `families` is by case slot id. A slot's prediction goes along to another family by the words of its sizes,
    as a further prediction row; where the new family lacks them it is refused with "sizes-do-not-carry-over".
    A new surgeon leaves the plan as it was booked; the notices tell if that surgeon has a plan of their own.
    `follow` is called inside the act when the start or the length has changed.

    Writes one event "case.change". Raises NotAllowed; Refusal not-booked-any-more, no-such-slot,
    family-not-in-plan and the codes of `checks`.
    """
    require(by=by, act="book_case", site_id=case.site_id)

    def work() -> Booked:
        now = case_locked(case)
        times = (now.starts_at, now.minutes)
        _facts_change(
            now, starts_at=starts_at, minutes=minutes, reference=reference, urgency=urgency, surgeon=surgeon
        )
        notices, lines = _families_change(now, families or {}, at=at)
        now.save()
        lines = (Line("case", now.pk, Case.Status.BOOKED, Case.Status.BOOKED), *lines)
        if follow and times != (now.starts_at, now.minutes):
            moved, told = follow(cases=[now], by=by, at=at)
            lines, notices = (*lines, *moved), (*notices, *told)
        record(
            chain=now.site.code, verb="case.change", by=by, at=at, lines=lines,
            place_id=now.list.theatre_id, client_key=client_key, answer={"case": now.pk},
        )  # fmt: skip
        return Booked(now, (*notices, *_plan_notice(now), *overlap_notices(now)), lines)

    return act_once(verb="case.change", by=by, client_key=client_key, work=work, replay=case_again)


def _facts_change(
    case: Case,
    *,
    starts_at: datetime | None,
    minutes: int | None,
    reference: str | None,
    urgency: str | None,
    surgeon: Person | None | Keep,
) -> None:
    if reference is not None and checks.reference_checked(reference) != case.reference:
        case.reference = checks.reference_checked(reference)
        checks.reference_free(site=case.site, reference=case.reference, but=case)
    if starts_at is not None:
        case.starts_at = checks.start_checked(case.list, starts_at)
    if minutes is not None:
        case.minutes = checks.minutes_checked(minutes)
    if urgency is not None:
        case.urgency = checks.urgency_checked(urgency)
    if not isinstance(surgeon, Keep):
        case.surgeon = surgeon


def _plan_notice(case: Case) -> tuple[Notice, ...]:
    if case.surgeon is None:
        return ()
    sheet = plan_book([case.procedure_id]).sheet_for(case.procedure_id, case.surgeon_id)
    if sheet is None or sheet.plan.pk == case.plan_id:
        return ()
    sentence = _(
        "The plan for %(surgeon)s is another one. The case keeps the plan it was booked with; "
        "to use the other, cancel it and book it again."
    )
    return (Notice("plan-stays", sentence % {"surgeon": case.surgeon.name}),)


def _families_change(
    case: Case, families: Mapping[int, Family], *, at: datetime
) -> tuple[tuple[Notice, ...], tuple[Line, ...]]:
    if not families:
        return (), ()
    sheet = plan_sheet_of(case)
    slots = slots_of(case, families)
    newest = _newest_of(slots)
    notices: list[Notice] = []
    lines: list[Line] = []
    for slot_id, family in families.items():
        slot = slots[slot_id]
        if slot.family_id == family.pk or sheet is None:
            continue
        old, new = _sheets(sheet, slot, family)
        if before := newest.get(slot_id):
            carried = _carried(before, old, new, slot)
            prediction_row(slot, carried, at=at).save()
            lines.append(prediction_line(slot, carried))
            sentence = _("%(slot)s: the sizes predicted before were taken over to %(family)s. Check them.")
            words = {"slot": slot.plan_slot.name, "family": family.name}
            notices.append(Notice("sizes-carried-over", sentence % words))
        lines.append(Line("slot", slot.pk, f"family {slot.family_id}", f"family {family.pk}"))
        slot.family = family
        slot.save(update_fields=["family"])
    return tuple(notices), tuple(lines)


def _sheets(sheet: PlanSheet, slot: CaseSlot, family: Family) -> tuple[FamilySheet | None, FamilySheet]:
    in_plan = sheet.of(slot.plan_slot_id)
    if in_plan is None:
        raise RuntimeError("the case has a slot that its plan has not")
    return in_plan.of(slot.family), family_in_plan(in_plan, slot.construct.side, family)


def _carried(before: Prediction, old: FamilySheet | None, new: FamilySheet, slot: CaseSlot) -> PredictedSize:
    """The prediction in the ranks of another family, where that has sizes of the same names."""
    side = slot.construct.side
    labels = {mark.rank: mark.label for mark in old.marks(side)} if old else {}
    ranks = {mark.label: mark.rank for mark in new.marks(side)}
    low, high = (ranks.get(labels.get(rank, "")) for rank in (before.low_rank, before.high_rank))
    if low is None or high is None or low > high:
        raise Refusal(
            "sizes-do-not-carry-over",
            _("%(slot)s: %(family)s does not have the sizes that were predicted.")
            % {"slot": slot.plan_slot.name, "family": new.family.name},
            _("Keep the family, or cancel the case and book it with the other one."),
            field="family",
            slot=slot.pk,
        )
    return PredictedSize(low, high, before.method, before.confidence, before.planner)


def _newest_of(slots: Mapping[int, CaseSlot]) -> dict[int, Prediction]:
    newest: dict[int, Prediction] = {}
    rows = Prediction.objects.filter(slot__in=list(slots)).select_related("planner")
    for prediction in rows.order_by("slot", "-made_at", "-id"):
        newest.setdefault(prediction.slot_id, prediction)
    return newest


def slots_of(case: Case, wanted: Mapping[int, object]) -> dict[int, CaseSlot]:
    """The case's slots by id; refused with no-such-slot if one of those wanted is not the case's."""
    slots = {
        slot.pk: slot
        for slot in CaseSlot.objects.filter(construct__case=case).select_related(
            "construct", "plan_slot", "family"
        )
    }
    if any(slot_id not in slots for slot_id in wanted):
        raise Refusal(
            "no-such-slot",
            _("That slot does not belong to this case."),
            _("Open the case again and give it once more."),
        )
    return {slot_id: slots[slot_id] for slot_id in wanted}


def prediction_add(
    *,
    by: Person,
    case: Case,
    predictions: Mapping[int, PredictedSize],
    at: datetime,
    client_key: UUID | None = None,
) -> tuple[Prediction, ...]:
    """Add predictions to slots of a booked case, by case slot id. Those before stay; the newest counts.

    Writes one event "prediction.add". Raises NotAllowed; Refusal nothing-predicted, no-such-slot,
    slot-not-predicted, outside-family, low-above-high, method-unknown, confidence-out-of-range,
    not-booked-any-more.
    """
    require(by=by, act="predict_size", site_id=case.site_id)

    def work() -> tuple[Prediction, ...]:
        now = case_locked(case)
        added = Prediction.objects.bulk_create(_predictions_made(now, predictions, at=at))
        lines = [
            Line("case", now.pk, Case.Status.BOOKED, Case.Status.BOOKED),
            *(prediction_line(row.slot, predictions[row.slot_id]) for row in added),
        ]
        record(
            chain=now.site.code, verb="prediction.add", by=by, at=at, lines=lines,
            client_key=client_key, answer={"predictions": [row.pk for row in added]},
        )  # fmt: skip
        return tuple(added)

    def replay(answer: Answer) -> tuple[Prediction, ...]:
        return tuple(Prediction.objects.filter(pk__in=answer["predictions"]).order_by("pk"))

    return act_once(verb="prediction.add", by=by, client_key=client_key, work=work, replay=replay)


def _predictions_made(
    case: Case, predictions: Mapping[int, PredictedSize], *, at: datetime
) -> list[Prediction]:
    if not predictions:
        raise Refusal(
            "nothing-predicted",
            _("No size is given."),
            _("Choose a size or a range for at least one slot."),
        )
    sheet = plan_sheet_of(case)
    slots = slots_of(case, predictions)
    rows = []
    for slot_id, predicted in predictions.items():
        slot = slots[slot_id]
        family, _new = _sheets(sheet, slot, slot.family) if sheet else (None, None)
        if family is None or not slot.plan_slot.predicted:
            raise Refusal(
                "slot-not-predicted",
                _("%(slot)s is not predicted: the plan brings all of it.") % {"slot": slot.plan_slot.name},
                _("Leave its sizes out."),
            )
        checks.prediction_checked(family, slot.construct.side, predicted, slot_name=slot.plan_slot.name)
        rows.append(prediction_row(slot, predicted, at=at))
    return rows


def prediction_line(slot: CaseSlot, predicted: PredictedSize) -> Line:
    """The ledger line of a prediction: ranks and method, no sizes in words."""
    after = f"{predicted.low_rank}-{predicted.high_rank} {predicted.method}"
    return Line("slot", slot.pk, "", after)
