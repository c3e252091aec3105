"""Files of holds: units and sets kept for a case."""

from collections import defaultdict
from collections.abc import Hashable, Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.bookings.models import Case
from cases.reservations import locking
from cases.reservations.hold import held_lines, place_holds
from cases.reservations.models import Hold
from cases.reservations.sets import place_set_hold
from trays.catalogue.importing import components_by_code
from trays.exchange.columns import Code, Text
from trays.exchange.kinds import ImportKind, Moved, Moves, Row, moves
from trays.instruments.models import InstrumentSet
from trays.stock.models import Unit

_SITE = Code("site", gettext_lazy("The site."), "larkmere")
_REFERENCE = Text("reference", gettext_lazy("The case's local reference."), "LK-26-1187", longest=40)


class _ForCases(ImportKind):
    """Kinds whose rows keep something for a booked case."""

    house = False
    acts = ("import_files", "hold_stock")

    def prepare(self) -> None:
        rows = Case.objects.filter(status__in=(Case.Status.BOOKED, Case.Status.OPENED))
        self.cases = {(case.site_id, case.reference): case for case in rows.select_related("list")}

    def case(self, row: Row) -> Case | None:
        site = self.site(row)
        if site is None:
            return None
        case: Case | None = row.find("reference", self.cases, key=(site.id, row["reference"]))
        return case


class Holds(_ForCases):
    """One sealed unit kept for one case a row; of a lot, the next free one that expires first."""

    code = "holds"
    title = gettext_lazy("Held units")
    about = gettext_lazy("Sealed units kept for a case.")
    key_column = "component"
    columns = (
        _SITE,
        _REFERENCE,
        Code("component", gettext_lazy("Its code or GTIN."), "mk-fcr-5-l"),
        Text("lot", gettext_lazy("Its lot; empty: any."), "M24117", False, longest=20),
        Text("serial", gettext_lazy("Its serial, if it has one."), "", False, longest=20),
    )

    def prepare(self) -> None:
        super().prepare()
        self.components = components_by_code()
        held = Hold.objects.filter(ended_at=None).values("unit_id")
        free = Unit.objects.filter(state__in=Unit.ON_HAND).exclude(pk__in=held)
        self.free: dict[tuple[int, int], list[Unit]] = defaultdict(list)
        for unit in free.order_by("expires", "pk"):
            self.free[unit.site_id, unit.component_id].append(unit)

    def check(self, row: Row) -> dict[str, Any] | None:
        case = self.case(row)
        component = row.find("component", self.components)
        if case is None or component is None:
            return None
        unit = self._next(row, case, component.pk)
        if unit is None:
            row.fault(
                "component",
                _("No such unit is free at this site and in date on the day of the operation."),
                _("Take the row out, or name another lot."),
            )
            return None
        return {"_site": case.site_id, "case": case.pk, "unit": unit.pk}

    def _next(self, row: Row, case: Case, component_id: int) -> Unit | None:
        """The first free unit that fits the row; taken, so that the next row gets another."""
        units = self.free[case.site_id, component_id]
        for unit in units:
            in_date = unit.expires is None or unit.expires >= case.list.day
            if in_date and row["lot"] in ("", unit.lot) and row["serial"] in ("", unit.serial):
                units.remove(unit)
                return unit
        return None

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        wanted: dict[int, list[int]] = defaultdict(list)
        for values in rows:
            wanted[values["case"]].append(values["unit"])
        locked = locking.lock(cases=list(wanted), units=[values["unit"] for values in rows])
        found: list[tuple[int | None, Moved]] = []
        for case, units in wanted.items():
            keeper = locked.cases[case]
            made = place_holds(
                units={unit: locked.units[unit] for unit in units}, keeper=keeper, by=by, at=at
            )
            found += [
                (keeper.site_id, Moved(line.subject, line.subject_id, line.after, 0, line.before))
                for line in held_lines(made)
            ]
        return moves(found)


class SetHolds(_ForCases):
    """One set kept for one case a row, from its start until its end and the way back."""

    code = "set-holds"
    title = gettext_lazy("Held sets")
    about = gettext_lazy("Sets kept for a case.")
    key_column = "set"
    columns = (_SITE, _REFERENCE, Code("set", gettext_lazy("The set's number."), "KG-01"))

    def prepare(self) -> None:
        super().prepare()
        self.sets = InstrumentSet.objects.in_bulk(field_name="code")

    def check(self, row: Row) -> dict[str, Any] | None:
        case = self.case(row)
        kept = row.find("set", self.sets)
        if case is None or kept is None:
            return None
        return {"_site": case.site_id, "case": case.pk, "set": kept.pk}

    def key(self, values: dict[str, Any]) -> Hashable:
        return values["case"], values["set"]

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        locked = locking.lock(
            cases=[values["case"] for values in rows], sets=[values["set"] for values in rows]
        )
        for values in rows:
            place_set_hold(
                instrument_set=locked.sets[values["set"]], keeper=locked.cases[values["case"]], by=by, at=at
            )
        return moves((values["_site"], Moved("set", values["set"], "held", 0, "free")) for values in rows)
