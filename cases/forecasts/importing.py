"""Files of error tables and of outcomes."""

from collections import defaultdict
from collections.abc import Hashable, Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.bookings.models import CaseSlot, PlanSlot, PredictionMethod
from cases.forecasts.models import ErrorTable, ErrorTableRow, Outcome
from trays.catalogue.importing import components_by_code, ranks_by_size
from trays.catalogue.models import Family, FamilyKind, Side
from trays.exchange.columns import Choice, Code, Day, Number, Text, Whole
from trays.exchange.kinds import BATCH, ImportKind, ModelKind, Moved, Moves, Row, moves
from trays.staff.models import Person


class ErrorTables(ImportKind):
    """One offset of one table a row."""

    code = "error-tables"
    title = gettext_lazy("Error tables")
    about = gettext_lazy("How often the size used lies so many sizes from the one predicted.")
    key_column = "offset"
    columns = (
        Code("slot", gettext_lazy("The slot."), "femoral"),
        Choice(
            "method",
            gettext_lazy("How it was predicted."),
            "xray_template",
            words=tuple(PredictionMethod.values),
        ),
        Text("source", gettext_lazy("Where the figures come from."), "Own cases 2025", longest=160),
        Day("valid_from", gettext_lazy("From which day."), "2026-01-01"),
        Whole("offset", gettext_lazy("Used minus predicted, in sizes."), "0", low=-9, high=9),
        Number("weight", gettext_lazy("How often; the sum need not be 1."), "0.354", high=1_000_000),
    )

    def prepare(self) -> None:
        self.slots = set(PlanSlot.objects.values_list("code", flat=True))
        self.slots |= set(Family.objects.exclude(slot="").values_list("slot", flat=True))
        self.tables = set(ErrorTable.objects.values_list("slot", "method", "valid_from"))
        self.sources: dict[tuple[Any, ...], str] = {}

    def check(self, row: Row) -> dict[str, Any] | None:
        row.find("slot", {slot: slot for slot in self.slots})
        table = (row["slot"], row["method"], row["valid_from"])
        if table in self.tables:
            row.fault(
                "valid_from",
                _("The table of this slot and method from this day is on file; it is not changed."),
                _("Give the new table a later day."),
            )
        if self.sources.setdefault(table, row["source"]) != row["source"]:
            row.fault(
                "source",
                _("Another row of this table has another source."),
                _("Write one source throughout."),
            )
        return None if row.faults else {"_table": [*table, row["source"]], **_offset(row)}

    def key(self, values: dict[str, Any]) -> Hashable:
        return (*values["_table"][:3], values["offset"])

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        wanted = sorted({tuple(values["_table"]) for values in rows})
        made = ErrorTable.objects.bulk_create(
            [
                ErrorTable(slot=slot, method=method, valid_from=day, source=source)
                for slot, method, day, source in wanted
            ]
        )
        tables = dict(zip(wanted, made, strict=True))
        ErrorTableRow.objects.bulk_create(
            [
                ErrorTableRow(
                    table=tables[tuple(values["_table"])], offset=values["offset"], weight=values["weight"]
                )
                for values in rows
            ],
            batch_size=BATCH,
        )
        return moves((None, Moved("error_table", table.pk)) for table in made)


def _offset(row: Row) -> dict[str, Any]:
    return {"offset": row["offset"], "weight": row["weight"]}


class Outcomes(ModelKind):
    """What one operation used in one slot a row; of our own cases, or of years before."""

    code = "outcomes"
    title = gettext_lazy("Sizes used")
    about = gettext_lazy("What was implanted, with what had been predicted where that is known.")
    house = False
    model = Outcome
    subject = "outcome"
    key_column = "reference"
    columns = (
        Code("site", gettext_lazy("The site."), "larkmere"),
        Text("reference", gettext_lazy("The local case reference."), "LK-25-0411", longest=40),
        Code("slot", gettext_lazy("The slot."), "femoral"),
        Code("component", gettext_lazy("What was used: code or GTIN."), "mk-fcr-5-l"),
        Day("used_on", gettext_lazy("On which day."), "2025-11-03"),
        Choice(
            "method",
            gettext_lazy("How it had been predicted."),
            "xray_template",
            False,
            "",
            words=tuple(PredictionMethod.values),
        ),
        Code("planner", gettext_lazy("Who had predicted (sign-in)."), "thornby-vale", False, "", longest=60),
        Text("predicted_size", gettext_lazy("The size predicted."), "5", False, longest=20),
    )

    def prepare(self) -> None:
        self.components = components_by_code()
        families = Family.objects.in_bulk(field_name="code")
        self.ranks = ranks_by_size(families)
        self.people = Person.objects.in_bulk(field_name="username")
        rows = Outcome.objects.values_list("site_id", "reference", "slot", "component_id")
        self.known = set(rows)
        self.own: dict[tuple[int, str, str], list[tuple[int, str]]] = defaultdict(list)
        slots = CaseSlot.objects.filter(outcome=None).select_related("construct__case", "plan_slot")
        for slot in slots:
            case = slot.construct.case
            self.own[case.site_id, case.reference, slot.plan_slot.code].append((slot.pk, slot.construct.side))

    def check(self, row: Row) -> dict[str, Any] | None:
        site = self.site(row)
        text = row["component"]
        key = text if text in self.components else text.rjust(14, "0")
        component = row.find("component", self.components, key=key)
        planner = row.find("planner", self.people)
        if component is not None and component.family.kind == FamilyKind.CONSUMABLE:
            row.fault("component", _("This is a consumable."), _("Sizes used are of implants."))
        if site is not None and row["used_on"] > self.today(site.zone):
            row.fault("used_on", _("This day has not come yet."), _("Correct the day."))
        predicted = self._predicted(row, component)
        if row.faults or site is None or component is None:
            return None
        return {
            "site_id": site.id,
            "case_slot_id": self._own_slot(row, site.id, component.side),
            "reference": row["reference"],
            "slot": row["slot"],
            "component_id": component.pk,
            "used_on": row["used_on"],
            "method": row["method"],
            "planner_id": planner.pk if planner else None,
            "predicted_rank": predicted,
        }

    def _own_slot(self, row: Row, site_id: int, side: str) -> int | None:
        """The slot of a case on file that this tells of; None where it could be that of either side."""
        slots = self.own.get((site_id, row["reference"], row["slot"]), [])
        fitting = [one for one in slots if Side.NONE in (side, one[1]) or one[1] == side]
        if len(fitting) != 1:
            return None
        # One slot has one outcome; another row of the same slot is history without it.
        slots.remove(fitting[0])
        return fitting[0][0]

    def _predicted(self, row: Row, component: Any) -> int | None:
        if component is None or not row["predicted_size"]:
            return None
        rank = self.ranks.get((component.family.code, row["predicted_size"]))
        if rank is None:
            row.fault(
                "predicted_size",
                _("%(family)s has no such size.") % {"family": component.family.name},
                _("Write the size as printed on the box, or leave it empty."),
            )
        return rank

    def key(self, values: dict[str, Any]) -> Hashable:
        return tuple(values[name] for name in ("site_id", "reference", "slot", "component_id"))
