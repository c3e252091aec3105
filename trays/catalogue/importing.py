"""Files of families, components, pack levels and fit rules."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.catalogue.models import (
    Component,
    ComponentCountClass,
    Family,
    FamilyKind,
    FitRule,
    FitRuleVerdict,
    PackLevel,
    Side,
)
from trays.exchange.columns import Choice, Code, Day, Money, SideOf, Text, Whole, YesNo
from trays.exchange.keys import Gtin
from trays.exchange.kinds import ModelKind, Moved, Moves, Row
from trays.parties.models import Party


def components_by_code() -> dict[str, Component]:
    """Every component by its code and by its single-unit trade codes, with its family; two queries."""
    found = {one.code: one for one in Component.objects.select_related("family")}
    by_id = {one.pk: one for one in found.values()}
    for level in PackLevel.objects.filter(quantity=1):
        found.setdefault(level.code, by_id[level.component_id])
    return found


def ranks_by_size(families: dict[str, Family]) -> dict[tuple[str, str], int]:
    """(family's code, size's label) to the size's rank; one query."""
    codes = {family.pk: code for code, family in families.items()}
    rows = Component.objects.values_list("family_id", "size", "size_rank").distinct()
    return {(codes[family], size): rank for family, size, rank in rows if family in codes}


def size_of(row: Row, column: str, family: Family | None, ranks: dict[tuple[str, str], int]) -> int | None:
    """The rank of the size in the column; None with a fault where the family has no such size."""
    size = row[column]
    if family is None or size in (None, ""):
        return None
    rank = ranks.get((family.code, size))
    if rank is None:
        labels = [label for code, label in ranks if code == family.code]
        labels.sort(key=lambda label: ranks[(family.code, label)])
        sizes = ", ".join(labels[:20])
        row.fault(
            column,
            _("%(family)s has no size “%(size)s”.") % {"family": family.name, "size": size},
            _("Write one of: %(sizes)s.") % {"sizes": sizes} if sizes else _("Import its components first."),
        )
    return rank


class Families(ModelKind):
    """One family a row."""

    code = "families"
    title = gettext_lazy("Component families")
    about = gettext_lazy("Components that differ by size, side and one further measure only.")
    model = Family
    subject = "family"
    columns = (
        Code("code", gettext_lazy("How other files name it."), "mk-femoral-cr"),
        Text("name", gettext_lazy("Its name."), "Femoral component, cruciate-retaining"),
        Choice("kind", gettext_lazy("What it is."), "implant", words=tuple(FamilyKind.values)),
        Code("slot", gettext_lazy("The part of the construct it fills."), "femoral", False, ""),
        YesNo("sided", gettext_lazy("Whether left and right differ."), "yes", False, False),
        Text("constraint", gettext_lazy("How constrained."), "cruciate-retaining", False, longest=60),
        Text("fixation", gettext_lazy("How fixed."), "cemented", False, longest=60),
        Text("material", gettext_lazy("Of what."), "cobalt-chrome", False, longest=60),
        Text("second_measure", gettext_lazy("The further measure's name."), "", False, longest=40),
    )

    def prepare(self) -> None:
        self.known = set(Family.objects.values_list("code", flat=True))

    def check(self, row: Row) -> dict[str, Any]:
        return dict(row.values)

    def key(self, values: dict[str, Any]) -> str:
        return str(values["code"])


class Components(ModelKind):
    """One component a row; its single-unit trade code may stand beside it."""

    in_chunks = True
    code = "components"
    title = gettext_lazy("Components")
    about = gettext_lazy("Every size, side and further measure that can be ordered.")
    model = Component
    subject = "component"
    columns = (
        Code("code", gettext_lazy("The hospital's code of it."), "mk-fcr-5-l"),
        Text("name", gettext_lazy("Its name, with size and side."), "Femoral CR size 5 LEFT", longest=160),
        Code("family", gettext_lazy("Its family."), "mk-femoral-cr"),
        Text("size", gettext_lazy("Its size as printed on the box."), "5", False, longest=20),
        Whole(
            "size_order",
            gettext_lazy("The size's turn in the family: smallest 1, next 2."),
            "5",
            low=1,
            high=99,
        ),
        Text("second", gettext_lazy("The further measure, as printed."), "", False, longest=20),
        Whole("second_order", gettext_lazy("Its turn: smallest 1."), "1", False, 1, low=1, high=99),
        SideOf("side", gettext_lazy("Of the patient's body."), "left", False, "none"),
        Code("supplier", gettext_lazy("Who delivers it."), "merrowfield"),
        Money("price", gettext_lazy("Price of one."), "412.50", False),
        Text("currency", gettext_lazy("Three letters."), "GBP", False, "GBP", longest=3),
        Whole("order_multiple", gettext_lazy("Ordered in these steps."), "1", False, 1, low=1, high=9_999),
        Choice(
            "count_class",
            gettext_lazy("How it is counted at operation."),
            "none",
            False,
            "none",
            words=tuple(ComponentCountClass.values),
        ),
        Whole("count_multiple", gettext_lazy("Pieces counted per pack."), "1", False, 1, low=1, high=500),
        Gtin("gtin", gettext_lazy("The trade code of a single one."), "9521234000013", False),
    )

    def prepare(self) -> None:
        self.families = Family.objects.in_bulk(field_name="code")
        self.suppliers = {one.code: one for one in Party.objects.filter(kind=Party.Kind.SUPPLIER)}
        self.known = set(Component.objects.values_list("code", flat=True))
        self.levels = set(PackLevel.objects.values_list("code", flat=True))
        rows = Component.objects.values_list("family__code", "side", "size_rank", "second_rank", "size")
        self.places = {row[:4] for row in rows}
        self.labels = {(family, rank): size for family, _side, rank, _second, size in rows}

    def check(self, row: Row) -> dict[str, Any] | None:
        family = row.find("family", self.families)
        supplier = row.find("supplier", self.suppliers)
        self._check_side(row, family)
        self._check_place(row)
        if row["gtin"]:
            if row["gtin"] in self.levels:
                row.fault("gtin", _("This GTIN is taken."), _("Each component and pack has its own GTIN."))
            self.levels.add(row["gtin"])
        if row.faults or family is None or supplier is None:
            return None
        values = {name: value for name, value in row.values.items() if name not in ("family", "supplier")}
        values["family_id"], values["supplier_id"] = family.pk, supplier.pk
        values["size_rank"] = values.pop("size_order") - 1
        values["second_rank"] = values.pop("second_order") - 1
        values["_gtin"] = values.pop("gtin")
        return values

    def _check_side(self, row: Row, family: Family | None) -> None:
        if family is None or family.sided == (row["side"] != Side.NONE):
            return
        if family.sided:
            row.fault("side", _("This family has sides, and the side is missing."), _("Write left or right."))
        else:
            row.fault("side", _("This family has no sides."), _("Write none, or leave the cell empty."))

    def _check_place(self, row: Row) -> None:
        rank = row["size_order"] - 1
        place = (row["family"], row["side"], rank, row["second_order"] - 1)
        if place in self.places:
            row.fault(
                "size_order",
                _("Another component of this family has the same size, side and further measure."),
                _("Give each its own turn in the order of sizes."),
            )
        self.places.add(place)
        if self.labels.setdefault((row["family"], rank), row["size"]) != row["size"]:
            row.fault(
                "size",
                _("Another component with this turn in the family is called size “%(size)s”.")
                % {"size": self.labels[(row["family"], rank)]},
                _("Sizes of one turn have one name."),
            )

    def key(self, values: dict[str, Any]) -> str:
        return str(values["code"])

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        found = super().apply(rows, by=by, at=at)
        codes = [values["code"] for values in rows if values["_gtin"]]
        made = Component.objects.in_bulk(codes, field_name="code")
        PackLevel.objects.bulk_create(
            [
                PackLevel(code=values["_gtin"], component=made[values["code"]])
                for values in rows
                if values["_gtin"]
            ]
        )
        return found


class PackLevels(ModelKind):
    """One trade code a row, and how many it stands for."""

    code = "pack-levels"
    title = gettext_lazy("Pack levels")
    about = gettext_lazy("Further trade codes of components: a box of five has its own.")
    model = PackLevel
    subject = "pack_level"
    columns = (
        Gtin("gtin", gettext_lazy("The trade code."), "19521234000010"),
        Code("component", gettext_lazy("The component inside."), "mk-fcr-5-l"),
        Whole("quantity", gettext_lazy("How many of it."), "5", low=1, high=100_000),
    )

    def prepare(self) -> None:
        self.components = Component.objects.in_bulk(field_name="code")
        self.known = set(PackLevel.objects.values_list("code", flat=True))

    def check(self, row: Row) -> dict[str, Any] | None:
        component = row.find("component", self.components)
        if component is None:
            return None
        return {"code": row["gtin"], "component_id": component.pk, "quantity": row["quantity"]}

    def key(self, values: dict[str, Any]) -> str:
        return str(values["code"])


class FitRules(ModelKind):
    """One pair of sizes a row. A pair without a row is not known, never allowed."""

    code = "fit-rules"
    title = gettext_lazy("Fit rules")
    about = gettext_lazy("Which sizes of two families may stand together, with the source.")
    model = FitRule
    subject = "fit_rule"
    columns = (
        Code("family_a", gettext_lazy("One family."), "mk-femoral-cr"),
        Text("size_a", gettext_lazy("Its size."), "5", longest=20),
        Code("family_b", gettext_lazy("The other family."), "mk-tibial"),
        Text("size_b", gettext_lazy("Its size."), "6", longest=20),
        Choice("verdict", gettext_lazy("May they stand together."), "allowed", words=FitRuleVerdict.values),
        Text("source", gettext_lazy("Where this is written."), "Merrowfield fit chart, issue 3"),
        Day("valid_from", gettext_lazy("From which day."), "2026-01-01"),
    )

    def prepare(self) -> None:
        self.families = Family.objects.in_bulk(field_name="code")
        self.ranks = ranks_by_size(self.families)
        rows = FitRule.objects.values_list("family_a_id", "rank_a", "family_b_id", "rank_b", "valid_from")
        self.known = {_pair(*row) for row in rows}

    def check(self, row: Row) -> dict[str, Any] | None:
        first = row.find("family_a", self.families)
        second = row.find("family_b", self.families)
        rank_a = size_of(row, "size_a", first, self.ranks)
        rank_b = size_of(row, "size_b", second, self.ranks)
        if first is not None and first is second:
            row.fault("family_b", _("Both families are the same."), _("A rule is about two families."))
        if row.faults or first is None or second is None:
            return None
        return {
            "family_a_id": first.pk,
            "rank_a": rank_a,
            "family_b_id": second.pk,
            "rank_b": rank_b,
            "verdict": row["verdict"],
            "source": row["source"],
            "valid_from": row["valid_from"],
        }

    def key(self, values: dict[str, Any]) -> tuple[Any, ...]:
        day = values["valid_from"]
        return _pair(values["family_a_id"], values["rank_a"], values["family_b_id"], values["rank_b"], day)

    def moved(self, made: Any, values: dict[str, Any]) -> Moved:
        return Moved(self.subject, made.pk, made.verdict)


def _pair(family_a: int, rank_a: int, family_b: int, rank_b: int, day: date) -> tuple[Any, ...]:
    """A pair is the same whichever family stands first."""
    return (*sorted([(family_a, rank_a), (family_b, rank_b)]), day)
