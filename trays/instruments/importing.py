"""Files of instrument types, set designs and contents lists."""

from collections.abc import Hashable, Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.catalogue.importing import ranks_by_size, size_of
from trays.catalogue.models import Component, Family
from trays.exchange.columns import Choice, Code, Day, Text, Whole, YesNo
from trays.exchange.keys import Gln
from trays.exchange.kinds import BATCH, ModelKind, Moves, Row
from trays.instruments.models import (
    Barrier,
    ContentsLine,
    DesignServes,
    DesignVersion,
    InstrumentType,
    Method,
    SetDesign,
)


class InstrumentTypes(ModelKind):
    """One kind of instrument a row."""

    code = "instrument-types"
    title = gettext_lazy("Instrument types")
    about = gettext_lazy("Kinds of instruments as they stand on contents lists.")
    model = InstrumentType
    subject = "instrument_type"
    columns = (
        Code("code", gettext_lazy("How other files name it."), "retractor-bent"),
        Text("name", gettext_lazy("As it stands on the list."), "Retractor, bent"),
        Whole("parts", gettext_lazy("Parts that come apart and are counted."), "1", False, 1, low=1, high=60),
    )

    def prepare(self) -> None:
        self.known = set(InstrumentType.objects.values_list("code", flat=True))

    def check(self, row: Row) -> dict[str, Any]:
        return dict(row.values)

    def key(self, values: dict[str, Any]) -> str:
        return str(values["code"])


class SetDesigns(ModelKind):
    """One design a row."""

    code = "set-designs"
    title = gettext_lazy("Set designs")
    about = gettext_lazy("Kinds of sets; the sets themselves and their contents have files of their own.")
    model = SetDesign
    subject = "design"
    columns = (
        Code("code", gettext_lazy("How other files name it."), "kn-gen"),
        Text("name", gettext_lazy("Its name."), "Knee general"),
        Gln("asset_type", gettext_lazy("The GRAI's asset type: thirteen digits."), "9521234000013", False),
        Choice(
            "barrier",
            gettext_lazy("The sterile barrier of its packs, for their labels."),
            "double",
            False,
            "",
            words=tuple(Barrier.values),
        ),
        Choice(
            "method",
            gettext_lazy("How its packs are sterilized, for their labels."),
            "steam",
            False,
            "",
            words=tuple(Method.values),
        ),
    )

    def prepare(self) -> None:
        self.known = set(SetDesign.objects.values_list("code", flat=True))

    def check(self, row: Row) -> dict[str, Any]:
        return dict(row.values)

    def key(self, values: dict[str, Any]) -> str:
        return str(values["code"])


class Serves(ModelKind):
    """One design and one family a row: the run of sizes that the design serves."""

    code = "design-serves"
    title = gettext_lazy("Sizes that a design serves")
    about = gettext_lazy("A design without a row for a family serves all its sizes.")
    model = DesignServes
    subject = "design_serves"
    columns = (
        Code("design", gettext_lazy("The design."), "kn-blk-s"),
        Code("family", gettext_lazy("The family."), "mk-femoral-cr"),
        Text("first_size", gettext_lazy("The smallest size served."), "1", longest=20),
        Text("last_size", gettext_lazy("The largest size served."), "4", longest=20),
    )

    def prepare(self) -> None:
        self.designs = SetDesign.objects.in_bulk(field_name="code")
        self.families = Family.objects.in_bulk(field_name="code")
        self.ranks = ranks_by_size(self.families)
        self.known = set(DesignServes.objects.values_list("design_id", "family_id"))

    def check(self, row: Row) -> dict[str, Any] | None:
        design = row.find("design", self.designs)
        family = row.find("family", self.families)
        first = size_of(row, "first_size", family, self.ranks)
        last = size_of(row, "last_size", family, self.ranks)
        if first is not None and last is not None and first > last:
            row.fault(
                "last_size", _("The largest size is below the smallest."), _("Swap the two, or correct one.")
            )
        if row.faults or design is None or family is None:
            return None
        return {"design_id": design.pk, "family_id": family.pk, "first_rank": first, "last_rank": last}

    def key(self, values: dict[str, Any]) -> Hashable:
        return values["design_id"], values["family_id"]


class Contents(ModelKind):
    """One line of a contents list a row. A list on file is never changed: a new issue has the next number."""

    in_chunks = True
    code = "contents"
    title = gettext_lazy("Contents lists")
    about = gettext_lazy("What belongs in each tray of a design: instruments, and loose implants in racks.")
    model = ContentsLine
    subject = "contents_line"
    key_column = "number"
    columns = (
        Code("design", gettext_lazy("The design."), "kn-gen"),
        Whole("version", gettext_lazy("The list's issue."), "1", low=1, high=999),
        Day("valid_from", gettext_lazy("From which day; the same on each line."), "2026-01-01"),
        Whole("tray", gettext_lazy("Which tray of the set."), "1", False, 1, low=1, high=20),
        Whole("number", gettext_lazy("The line's number in its tray."), "1", low=1, high=999),
        Text("section", gettext_lazy("Where in the tray."), "Top layer, left", False, longest=80),
        Code("instrument", gettext_lazy("The instrument; or, instead,"), "retractor-bent", False, ""),
        Code("rack_component", gettext_lazy("the loose implant."), "", False, ""),
        Whole("quantity", gettext_lazy("How many."), "2", False, 1, low=1, high=500),
        YesNo("critical", gettext_lazy("Whether the set is useless without it."), "no", False, False),
    )

    def prepare(self) -> None:
        self.designs = SetDesign.objects.in_bulk(field_name="code")
        self.instruments = InstrumentType.objects.in_bulk(field_name="code")
        self.components = Component.objects.in_bulk(field_name="code")
        self.lists = set(DesignVersion.objects.values_list("design_id", "version"))
        self.days: dict[tuple[int, int], Any] = {}

    def check(self, row: Row) -> dict[str, Any] | None:
        design = row.find("design", self.designs)
        instrument = row.find("instrument", self.instruments)
        rack = row.find("rack_component", self.components)
        if bool(row["instrument"]) == bool(row["rack_component"]):
            row.fault(
                "instrument",
                _("A line is either an instrument or a loose implant."),
                _("Fill in exactly one of the two columns."),
            )
        if design is not None:
            self._check_issue(row, (design.pk, row["version"]))
        if row.faults or design is None:
            return None
        return {
            "_issue": [design.pk, row["version"], row["valid_from"]],
            "tray": row["tray"],
            "number": row["number"],
            "section": row["section"],
            "instrument_id": instrument.pk if instrument else None,
            "rack_stock_id": rack.pk if rack else None,
            "quantity": row["quantity"],
            "critical": row["critical"],
        }

    def _check_issue(self, row: Row, issue: tuple[int, int]) -> None:
        if issue in self.lists:
            row.fault(
                "version",
                _("Issue %(version)s of this list is on file; it is not changed.") % {"version": issue[1]},
                _("Give the new list the next number."),
            )
        if self.days.setdefault(issue, row["valid_from"]) != row["valid_from"]:
            row.fault(
                "valid_from",
                _("Another line of this list has another day."),
                _("Write the same day on each line of a list."),
            )

    def key(self, values: dict[str, Any]) -> Hashable:
        return (*values["_issue"][:2], values["tray"], values["number"])

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        # A list may go on in the next chunk.
        ids = self.__dict__.setdefault("_made", {})
        issues = {tuple(values["_issue"]) for values in rows if tuple(values["_issue"][:2]) not in ids}
        made = DesignVersion.objects.bulk_create(
            [
                DesignVersion(design_id=design, version=version, valid_from=day)
                for design, version, day in sorted(issues)
            ],
            batch_size=BATCH,
        )
        ids.update({(one.design_id, one.version): one.pk for one in made})
        given = [{**values, "version_id": ids[tuple(values["_issue"][:2])]} for values in rows]
        return super().apply(given, by=by, at=at)
