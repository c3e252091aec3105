"""What each slot of a case ended with, written for the forecasts, which learn from it."""

from __future__ import annotations

from cases.bookings.models import Case, CaseSlot, Prediction
from cases.forecasts.models import Outcome
from cases.usage.models import Brought, Fate
from trays.catalogue.models import FamilyKind
from trays.ledger.append import Line
from trays.parties.queries import site_day


def outcomes_within(case: Case) -> list[Line]:
    """Write or put right the outcomes of a case within a larger act; return the event's lines.

    One outcome for each slot with what is implanted in it and what had been predicted last; without a slot of
    the plan it is still a use. What a file brought in before of the same slot is put right too.
    """
    implanted = list(
        Brought.objects.filter(
            case=case, replaced_at__isnull=True, fate=Fate.IMPLANTED, component__isnull=False
        )
        .exclude(component__family__kind=FamilyKind.CONSUMABLE)
        .select_related("component__family", "slot__plan_slot", "construct")
        .order_by("number")
    )
    lines, taken = [], set()
    by_slot = {one.slot_id: one for one in implanted if one.slot_id is not None}
    own = CaseSlot.objects.filter(construct__case=case).select_related("plan_slot", "construct")
    known = {row.case_slot_id: row for row in Outcome.objects.filter(case_slot__construct__case=case)}
    newest = _newest(case)
    for slot in own:
        used, before = by_slot.get(slot.pk), known.get(slot.pk)
        if used is None:
            if before is not None:
                lines.append(Line("outcome", before.pk, str(before.component_id), ""))
                before.delete()
            continue
        lines += _kept(case, slot.plan_slot.code, used, before, newest.get(slot.pk))
        taken.add(used.pk)
    for used in implanted:
        if used.pk not in taken:
            code = used.slot.plan_slot.code if used.slot is not None else used.component.family.slot  # type: ignore[union-attr]
            lines += _kept(case, code, used, None, None, with_slot=False)
    return lines


def _newest(case: Case) -> dict[int, Prediction]:
    rows = Prediction.objects.filter(slot__construct__case=case).order_by("made_at", "pk")
    return {row.slot_id: row for row in rows}


def _kept(
    case: Case,
    code: str,
    used: Brought,
    before: Outcome | None,
    foretold: Prediction | None,
    *,
    with_slot: bool = True,
) -> list[Line]:
    if before is not None and before.component_id == used.component_id:
        return []
    if before is not None:
        was = str(before.component_id)
        before.delete()
    else:
        was = ""
    reference = _reference(case, code, used)
    if not reference or used.component is None:
        return []
    made = Outcome.objects.create(
        site=case.site, case_slot_id=used.slot_id if with_slot else None, reference=reference, slot=code,
        component=used.component, used_on=site_day(case.site, used.fate_at or used.brought_at),
        method=foretold.method if foretold is not None else "",
        planner_id=foretold.planner_id if foretold is not None else None,
        predicted_rank=_size_named(foretold, used),
    )  # fmt: skip
    return [Line("outcome", made.pk, was, str(used.component_id))]


def _size_named(foretold: Prediction | None, used: Brought) -> int | None:
    """The rank that was predicted, where the prediction named one size, or a run with one in its middle, of
    the very family that was used; any other would teach an error nobody made.
    """
    if foretold is None or used.slot is None or used.component is None:
        return None
    if used.component.family_id != used.slot.family_id:
        return None
    middle, odd = divmod(foretold.low_rank + foretold.high_rank, 2)
    return None if odd else middle


def _reference(case: Case, code: str, used: Brought) -> str:
    """The case's own reference; with the construct's number where both sides used the same component."""
    number = used.construct.number if used.construct is not None else 0
    for reference in (
        case.reference,
        f"{case.reference[:37]}/{number}",
        f"{case.reference[:34]}/{used.number}",
    ):
        known = Outcome.objects.filter(
            site=case.site, reference=reference, slot=code, component=used.component
        )
        if not known.exists():
            return reference
    return ""
