"""Files of predictions made after booking."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.bookings import checks
from cases.bookings.enter import prediction_row
from cases.bookings.importing import CONFIDENCE, PLANNER, SITE, refused, sizes_read
from cases.bookings.kinds import PredictedSize
from cases.bookings.models import CaseSlot, Prediction, PredictionMethod
from cases.bookings.queries import plan_book
from trays.exchange.columns import Choice, Code, Moment, SideOf, Text
from trays.exchange.kinds import ImportKind, Moved, Moves, Row, moves
from trays.staff.models import Person
from trays.web.errors import Refusal


class Predictions(ImportKind):
    """One further prediction for one slot of a booked case a row. Earlier ones stay on file."""

    code = "predictions"
    title = gettext_lazy("Predicted sizes")
    about = gettext_lazy("Sizes predicted after booking; the newest counts, the earlier ones are kept.")
    house = False
    acts = ("import_files", "predict_size")
    key_column = "slot"
    columns = (
        SITE,
        Text("reference", gettext_lazy("The case's local reference."), "LK-26-1187", longest=40),
        SideOf("side", gettext_lazy("Which side's construct."), "right", False, "none"),
        Code("slot", gettext_lazy("The slot."), "femoral"),
        Text("size", gettext_lazy("The size, or a range such as 4-6."), "5", longest=40),
        Choice("method", gettext_lazy("How."), "ct_template", words=tuple(PredictionMethod.values)),
        CONFIDENCE,
        PLANNER,
        Moment("made", gettext_lazy("When it was made; empty: now."), "2026-12-01 09:00", False),
    )

    def prepare(self) -> None:
        self.people = Person.objects.in_bulk(field_name="username")
        self.sheets = {sheet.plan.pk: sheet for sheet in plan_book().sheets.values()}
        open_cases = CaseSlot.objects.filter(construct__case__status__in=("booked", "opened"))
        rows = open_cases.select_related("construct__case", "plan_slot", "family")
        self.slots = {
            (
                slot.construct.case.site_id,
                slot.construct.case.reference,
                slot.construct.side,
                slot.plan_slot.code,
            ): slot
            for slot in rows
        }

    def check(self, row: Row) -> dict[str, Any] | None:
        site = self.site(row)
        planner = row.find("planner", self.people)
        if site is None:
            return None
        key = (site.id, row["reference"], row["side"], row["slot"])
        slot = row.find("slot", self.slots, key=key, what=_(" for this case and side"))
        if row.faults or slot is None:
            return None
        plan_slot = self.sheets[slot.plan_slot.plan_id].of(slot.plan_slot_id)
        sheet = plan_slot.of(slot.family) if plan_slot else None
        if plan_slot is None or sheet is None:
            row.fault(
                "slot",
                _("The plan no longer has the family chosen for this slot."),
                _("Have the case's plan or family put right first."),
            )
            return None
        ranks = sizes_read(row, "size", plan_slot, sheet, row["side"], row["size"])
        if ranks is None:
            return None
        try:
            predicted = PredictedSize(ranks[0], ranks[1], row["method"], row["confidence"])
            checks.prediction_checked(sheet, row["side"], predicted, slot_name=plan_slot.slot.name)
        except Refusal as refusal:
            refused(row, refusal, "size")
        return {
            "_site": site.id,
            "slot": slot.pk,
            "ranks": ranks,
            "method": row["method"],
            "confidence": row["confidence"],
            "planner": planner.pk if planner else None,
            "made": self.moment(row["made"], site.zone),
        }

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        slots = CaseSlot.objects.in_bulk({values["slot"] for values in rows})
        people = Person.objects.in_bulk({values["planner"] for values in rows} - {None})
        made = Prediction.objects.bulk_create(
            [
                prediction_row(
                    slots[values["slot"]],
                    PredictedSize(
                        low_rank=values["ranks"][0],
                        high_rank=values["ranks"][1],
                        method=values["method"],
                        confidence=values["confidence"],
                        planner=people.get(values["planner"]),
                    ),
                    at=datetime.fromisoformat(values["made"]) if values["made"] else at,
                )
                for values in rows
            ]
        )
        pairs = zip(rows, made, strict=True)
        return moves((one["_site"], Moved("slot", row.slot_id, f"prediction {row.pk}")) for one, row in pairs)
