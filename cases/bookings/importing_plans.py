"""Files of procedures and of procedure plans: slots, sets, consumables."""

from collections.abc import Hashable, Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.bookings.models import (
    PlanConsumable,
    PlanFamily,
    PlanLink,
    PlanSetNeed,
    PlanSetOption,
    PlanSlot,
    Procedure,
    ProcedurePlan,
)
from trays.catalogue.models import Component, Family, FamilyKind
from trays.exchange.columns import Code, Number, Several, Text, Whole, YesNo
from trays.exchange.kinds import ModelKind, Moves, Row
from trays.instruments.models import SetDesign
from trays.staff.models import Person


class Procedures(ModelKind):
    """One procedure a row."""

    code = "procedures"
    title = gettext_lazy("Procedures")
    about = gettext_lazy("Kinds of operations by the hospital's own codes.")
    model = Procedure
    subject = "procedure"
    columns = (
        Code("code", gettext_lazy("The hospital's code."), "knee-total"),
        Text("name", gettext_lazy("Its name."), "Total knee"),
        YesNo("sided", gettext_lazy("Whether a side belongs to it."), "yes", False, True),
        Whole("minutes", gettext_lazy("Its usual length."), "105", False, 105, low=1, high=1_440),
    )

    def prepare(self) -> None:
        self.known = set(Procedure.objects.values_list("code", flat=True))

    def check(self, row: Row) -> dict[str, Any]:
        return dict(row.values)

    def key(self, values: dict[str, Any]) -> str:
        return str(values["code"])


class Plans(ModelKind):
    """One plan a row; its slots, sets and consumables have files of their own."""

    code = "plans"
    title = gettext_lazy("Procedure plans")
    about = gettext_lazy("What a procedure needs, for one surgeon or, with an empty surgeon, for all.")
    model = ProcedurePlan
    subject = "plan"
    columns = (
        Code("code", gettext_lazy("How other files name it."), "knee-total-tv"),
        Code("procedure", gettext_lazy("The procedure."), "knee-total"),
        Code("surgeon", gettext_lazy("The surgeon's sign-in; empty for all."), "thornby-vale", False, ""),
        Text("detail", gettext_lazy("A word that tells it apart."), "posterior-stabilised", False),
    )

    def prepare(self) -> None:
        self.procedures = Procedure.objects.in_bulk(field_name="code")
        self.people = Person.objects.in_bulk(field_name="username")
        rows = ProcedurePlan.objects.values_list("code", "procedure_id", "surgeon_id")
        self.known = {row[0] for row in rows}
        self.planned: set[tuple[int, int | None]] = {(row[1], row[2]) for row in rows}

    def check(self, row: Row) -> dict[str, Any] | None:
        procedure = row.find("procedure", self.procedures)
        surgeon = row.find("surgeon", self.people)
        if row.faults or procedure is None:
            return None
        whose = (procedure.pk, surgeon.pk if surgeon else None)
        if whose in self.planned:
            row.fault(
                "surgeon",
                _("There is a plan for this procedure and surgeon already."),
                _("Take the row out; one plan each."),
            )
        self.planned.add(whose)
        return {
            "code": row["code"],
            "procedure_id": procedure.pk,
            "surgeon_id": whose[1],
            "detail": row["detail"],
        }

    def key(self, values: dict[str, Any]) -> str:
        return str(values["code"])


class _OfPlan(ModelKind):
    """Kinds whose rows belong to a plan."""

    def prepare(self) -> None:
        self.plans = ProcedurePlan.objects.in_bulk(field_name="code")

    def codes(self, row: Row, column: str, table: dict[str, Any]) -> list[Any]:
        """What the codes in a cell of several stand for; a fault for each that is unknown."""
        found = []
        for code in row[column] or []:
            if code not in table:
                row.fault(
                    column,
                    _("“%(code)s” is not on file.") % {"code": code[:40]},
                    _("Import it first, or correct the code."),
                )
            else:
                found.append(table[code])
        return found


class PlanSlots(_OfPlan):
    """One slot of one plan a row, with the families that may fill it and the slots it must fit."""

    code = "plan-slots"
    title = gettext_lazy("Slots of procedure plans")
    about = gettext_lazy("Parts of the construct: how surely used, which families, what must fit what.")
    model = PlanSlot
    subject = "plan_slot"
    key_column = "code"
    columns = (
        Code("plan", gettext_lazy("The plan."), "knee-total-tv"),
        Whole("number", gettext_lazy("Its turn in the plan."), "2", low=1, high=99),
        Code("code", gettext_lazy("The slot's code; error tables name it too."), "tibial"),
        Text("name", gettext_lazy("Its name."), "Tibial", longest=60),
        Number("use", gettext_lazy("Chance that it is used."), "1", False, 1.0),
        Number("waste", gettext_lazy("Chance that a second one is opened."), "0.01", False, 0.0),
        YesNo("predicted", gettext_lazy("Whether its size is predicted."), "yes", False, True),
        YesNo("bring_all_seconds", gettext_lazy("Bring each thickness or length."), "no", False, False),
        Several("families", gettext_lazy("Families, the first choice first."), "mk-tibial"),
        Code("contingency", gettext_lazy("A family kept in reserve."), "", False, ""),
        Number("contingency_chance", gettext_lazy("Chance that the reserve is used."), "0", False, 0.0),
        Several("fits", gettext_lazy("Slots of earlier rows that its size must fit."), "femoral", False),
    )

    def prepare(self) -> None:
        super().prepare()
        self.families = Family.objects.exclude(kind=FamilyKind.CONSUMABLE).in_bulk(field_name="code")
        rows = PlanSlot.objects.values_list("plan_id", "code", "number")
        self.known = {row[:2] for row in rows}
        self.numbers = {(row[0], row[2]) for row in rows}
        self.slots = set(self.known)

    def check(self, row: Row) -> dict[str, Any] | None:
        plan = row.find("plan", self.plans)
        families = self.codes(row, "families", self.families)
        reserve = row.find("contingency", self.families)
        if plan is None:
            return None
        if (plan.pk, row["number"]) in self.numbers:
            row.fault("number", _("The plan has a slot with this number."), _("Number them one by one."))
        for code in row["fits"] or []:
            if (plan.pk, code) not in self.slots:
                row.fault(
                    "fits",
                    _("The plan has no slot “%(slot)s” in an earlier row.") % {"slot": code[:40]},
                    _("Name a slot of the same plan whose row comes first."),
                )
        self.numbers.add((plan.pk, row["number"]))
        self.slots.add((plan.pk, row["code"]))
        if row.faults:
            return None
        return {
            "plan_id": plan.pk,
            **{name: row[name] for name in ("number", "code", "name", "use", "waste")},
            "predicted": row["predicted"],
            "bring_all_seconds": row["bring_all_seconds"],
            "_families": [family.pk for family in families],
            "_reserve": [reserve.pk, row["contingency_chance"]] if reserve else None,
            "_fits": row["fits"] or [],
        }

    def key(self, values: dict[str, Any]) -> Hashable:
        return values["plan_id"], values["code"]

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        found = super().apply(rows, by=by, at=at)
        slots = {
            (slot.plan_id, slot.code): slot
            for slot in PlanSlot.objects.filter(plan_id__in={values["plan_id"] for values in rows})
        }
        families, links = [], []
        for values in rows:
            slot = slots[values["plan_id"], values["code"]]
            families += [
                PlanFamily(slot=slot, family_id=family, number=number)
                for number, family in enumerate(values["_families"], start=1)
            ]
            if values["_reserve"]:
                family, chance = values["_reserve"]
                number = len(values["_families"]) + 1
                families.append(
                    PlanFamily(slot=slot, family_id=family, number=number, contingency=True, chance=chance)
                )
            links += [
                PlanLink(plan_id=slot.plan_id, slot_a=slots[slot.plan_id, other], slot_b=slot)
                for other in values["_fits"]
            ]
        PlanFamily.objects.bulk_create(families)
        PlanLink.objects.bulk_create(links)
        return found


class PlanSets(_OfPlan):
    """One set need of one plan a row, with the designs that meet it."""

    code = "plan-sets"
    title = gettext_lazy("Sets of procedure plans")
    about = gettext_lazy("Which sets the operation needs; any one of the designs meets the need.")
    model = PlanSetNeed
    subject = "plan_set_need"
    key_column = "number"
    columns = (
        Code("plan", gettext_lazy("The plan."), "knee-total-tv"),
        Whole("number", gettext_lazy("Its turn in the plan."), "2", low=1, high=99),
        Text("name", gettext_lazy("What it is for."), "Femoral blocks", longest=80),
        Several("designs", gettext_lazy("Designs, the first choice first."), "kn-blk-s|kn-blk-l"),
        YesNo("contingency", gettext_lazy("Only in case."), "no", False, False),
    )

    def prepare(self) -> None:
        super().prepare()
        self.designs = SetDesign.objects.in_bulk(field_name="code")
        self.known = set(PlanSetNeed.objects.values_list("plan_id", "number"))

    def check(self, row: Row) -> dict[str, Any] | None:
        plan = row.find("plan", self.plans)
        designs = self.codes(row, "designs", self.designs)
        if row.faults or plan is None:
            return None
        return {
            "plan_id": plan.pk,
            "number": row["number"],
            "name": row["name"],
            "contingency": row["contingency"],
            "_designs": [design.pk for design in designs],
        }

    def key(self, values: dict[str, Any]) -> Hashable:
        return values["plan_id"], values["number"]

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        found = super().apply(rows, by=by, at=at)
        needs = {
            (need.plan_id, need.number): need
            for need in PlanSetNeed.objects.filter(plan_id__in={values["plan_id"] for values in rows})
        }
        PlanSetOption.objects.bulk_create(
            [
                PlanSetOption(
                    need=needs[values["plan_id"], values["number"]], design_id=design, number=number
                )
                for values in rows
                for number, design in enumerate(values["_designs"], start=1)
            ]
        )
        return found


class PlanConsumables(_OfPlan):
    """One consumable of one plan a row."""

    code = "plan-consumables"
    title = gettext_lazy("Consumables of procedure plans")
    about = gettext_lazy("Swabs, blades, pins and the like, and how many.")
    model = PlanConsumable
    subject = "plan_consumable"
    key_column = "component"
    columns = (
        Code("plan", gettext_lazy("The plan."), "knee-total-tv"),
        Code("component", gettext_lazy("The consumable."), "swab-10"),
        Whole("quantity", gettext_lazy("How many packs of it."), "4", False, 1, low=1, high=500),
    )

    def prepare(self) -> None:
        super().prepare()
        consumables = Component.objects.filter(family__kind=FamilyKind.CONSUMABLE)
        self.components = consumables.in_bulk(field_name="code")
        self.known = set(PlanConsumable.objects.values_list("plan_id", "component_id"))

    def check(self, row: Row) -> dict[str, Any] | None:
        plan = row.find("plan", self.plans)
        component = row.find("component", self.components)
        if plan is None or component is None:
            return None
        return {"plan_id": plan.pk, "component_id": component.pk, "quantity": row["quantity"]}

    def key(self, values: dict[str, Any]) -> Hashable:
        return values["plan_id"], values["component_id"]
