"""Files of theatre lists, cases and predictions."""

from collections import defaultdict
from collections.abc import Hashable, Sequence
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.bookings import checks
from cases.bookings.enter import case_enter, family_in_plan, list_enter, plan_for
from cases.bookings.kinds import FamilySheet, PlanSheet, PredictedSize, SlotSheet
from cases.bookings.models import Case, PredictionMethod, Procedure, TheatreListSession
from cases.bookings.models import TheatreList as TheatreListRow
from cases.bookings.queries import plan_book
from trays.catalogue.models import Family, Side
from trays.exchange.columns import Choice, Code, Day, Moment, Number, Several, SideOf, Text, Whole
from trays.exchange.kinds import ImportKind, Moved, Moves, Row, SiteFacts, moves
from trays.places.models import Place, PlaceKind
from trays.staff.models import Person
from trays.web.errors import Refusal

SITE = Code("site", gettext_lazy("The site."), "larkmere")
_THEATRE = Code("theatre", gettext_lazy("The theatre, by its place code."), "T1", longest=20)
_DAY = Day("day", gettext_lazy("The day of the list."), "2026-12-07")
_SESSION = Choice(
    "session",
    gettext_lazy("Empty means all day."),
    "all_day",
    False,
    "all_day",
    words=tuple(TheatreListSession.values),
)
METHOD = Choice(
    "method",
    gettext_lazy("How the sizes were predicted."),
    "xray_template",
    False,
    "",
    words=tuple(PredictionMethod.values),
)
CONFIDENCE = Number(
    "confidence", gettext_lazy("Chance that the size lies in the range."), "0.9", False, None, low=0.01
)
PLANNER = Code("planner", gettext_lazy("Who predicted (sign-in)."), "thornby-vale", False, "", longest=60)


def refused(row: Row, refusal: Refusal, column: str) -> None:
    """A refusal of a booking rule as a fault of a row."""
    row.fault(column, str(refusal.sentence), str(refusal.next_step))


def sizes_read(
    row: Row, column: str, slot: SlotSheet, sheet: FamilySheet, side: str, text: str
) -> tuple[int, int] | None:
    """The ranks that "5" or "4-6" stands for in a family; None with a fault said."""
    ranks = {mark.label: mark.rank for mark in sheet.marks(side)}
    low, dash, high = (text, "", text) if text in ranks else text.partition("-")
    low, high = low.strip(), high.strip() if dash else low.strip()
    if low not in ranks or high not in ranks:
        refused(row, checks.outside_family(sheet, side, slot_name=slot.slot.name), column)
        return None
    return ranks[low], ranks[high]


class _OnLists(ImportKind):
    """Kinds whose rows stand on theatre lists."""

    house = False
    acts = ("import_files", "book_case")

    def prepare(self) -> None:
        theatres = Place.objects.filter(kind=PlaceKind.THEATRE).select_related("site")
        self.theatres = {(place.site_id, place.code): place for place in theatres}
        self.people = Person.objects.in_bulk(field_name="username")

    def theatre(self, row: Row, site: SiteFacts) -> Place | None:
        where = _(" as a theatre of %(site)s") % {"site": site.code}
        theatre: Place | None = row.find("theatre", self.theatres, key=(site.id, row["theatre"]), what=where)
        if theatre is not None:
            try:
                checks.day_checked(theatre, row["day"], row["session"], at=self.at)
            except Refusal as refusal:
                refused(row, refusal, "day")
        return theatre


class TheatreLists(_OnLists):
    """One list a row: one theatre, one day, one session."""

    code = "lists"
    title = gettext_lazy("Theatre lists")
    about = gettext_lazy("Lists to be filled. A file of cases opens the lists it needs by itself.")
    key_column = "day"
    columns = (
        SITE,
        _THEATRE,
        _DAY,
        _SESSION,
        Code("surgeon", gettext_lazy("Whose list it is (sign-in)."), "thornby-vale", False, "", longest=60),
    )

    def prepare(self) -> None:
        super().prepare()
        self.known = set(TheatreListRow.objects.values_list("theatre_id", "day", "session"))

    def check(self, row: Row) -> dict[str, Any] | None:
        site = self.site(row)
        surgeon = row.find("surgeon", self.people)
        theatre = self.theatre(row, site) if site else None
        if row.faults or site is None or theatre is None:
            return None
        return {
            "_site": site.id,
            "theatre_id": theatre.pk,
            "day": row["day"],
            "session": row["session"],
            "surgeon_id": surgeon.pk if surgeon else None,
        }

    def key(self, values: dict[str, Any]) -> Hashable:
        return values["theatre_id"], values["day"], values["session"]

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        theatres = Place.objects.select_related("site").in_bulk({values["theatre_id"] for values in rows})
        people = Person.objects.in_bulk({values["surgeon_id"] for values in rows} - {None})
        found: list[tuple[int | None, Moved]] = []
        for values in rows:
            _kept, lines = list_enter(
                theatre=theatres[values["theatre_id"]],
                day=date.fromisoformat(values["day"]),
                session=values["session"],
                surgeon=people.get(values["surgeon_id"]),
                at=at,
            )
            found += [(values["_site"], Moved(line.subject, line.subject_id, line.after)) for line in lines]
        return moves(found)


class Cases(_OnLists):
    """One case a row; a case for both sides has two rows with one reference, one for each side."""

    code = "cases"
    title = gettext_lazy("Cases")
    about = gettext_lazy("Booked cases with their predicted sizes, one row for each case and side.")
    key_column = "reference"
    columns = (
        SITE,
        Text("reference", gettext_lazy("The local case reference; never a name."), "LK-26-1187", longest=40),
        _THEATRE,
        _DAY,
        _SESSION,
        Whole("position", gettext_lazy("Its place on the list; empty: the end."), "2", False, None, 1, 200),
        Moment("start", gettext_lazy("Estimated start by the site's clock."), "2026-12-07 10:30", False),
        Whole("minutes", gettext_lazy("Its length; empty: as usual."), "105", False, None, 1, 1_440),
        Code("procedure", gettext_lazy("The procedure."), "knee-total"),
        Code("surgeon", gettext_lazy("The surgeon (sign-in)."), "thornby-vale", False, "", longest=60),
        SideOf("side", gettext_lazy("Empty for a procedure without sides."), "right", False, "none"),
        Choice(
            "urgency", gettext_lazy("Empty means planned."), "planned", False, "planned", Case.Urgency.values
        ),
        Several(
            "sizes",
            gettext_lazy("Slot and size or range, such as femoral:4-6."),
            "femoral:4-6|tibial:5",
            False,
        ),
        Several(
            "families", gettext_lazy("Slot and family where not the first."), "tibial:mk-tibial", False
        ),
        METHOD,
        CONFIDENCE,
        PLANNER,
    )

    def prepare(self) -> None:
        super().prepare()
        self.procedures = Procedure.objects.in_bulk(field_name="code")
        self.families = Family.objects.in_bulk(field_name="code")
        self.plans = plan_book()
        self.on_file = set(Case.objects.values_list("site_id", "reference"))
        self.first_rows: dict[tuple[int, str], tuple[int, tuple[Any, ...]]] = {}
        self.positions: dict[tuple[Any, ...], tuple[int, str]] = {}

    def check(self, row: Row) -> dict[str, Any] | None:
        site = self.site(row)
        surgeon = row.find("surgeon", self.people)
        planner = row.find("planner", self.people)
        procedure = row.find("procedure", self.procedures)
        theatre = self.theatre(row, site) if site else None
        if row.faults or site is None or procedure is None or theatre is None:
            return None
        start = self.moment(row["start"], site.zone)
        self._check_case(row, site, procedure)
        if start is not None:
            try:
                checks.start_checked(TheatreListRow(site=theatre.site, day=row["day"]), start)
            except Refusal as refusal:
                refused(row, refusal, "start")
        self._check_together(row, site, theatre)
        slots = self._slots(row, procedure, surgeon)
        return {
            "site_id": site.id,
            "reference": row["reference"],
            "theatre_id": theatre.pk,
            "procedure_id": procedure.pk,
            "surgeon_id": surgeon.pk if surgeon else None,
            "planner_id": (planner or surgeon).pk if planner or surgeon else None,
            "start": start,
            "method": row["method"],
            "confidence": row["confidence"],
            **{name: row[name] for name in ("day", "session", "position", "minutes", "side", "urgency")},
            **slots,
        }

    def _check_case(self, row: Row, site: SiteFacts, procedure: Procedure) -> None:
        try:
            checks.reference_checked(row["reference"])
        except Refusal as refusal:
            refused(row, refusal, "reference")
        if (site.id, row["reference"]) in self.on_file:
            refused(row, checks.reference_taken(row["reference"]), "reference")
        try:
            checks.sides_checked(procedure, [row["side"]] if row["side"] != Side.NONE else [])
        except Refusal as refusal:
            refused(row, refusal, "side")

    def _check_together(self, row: Row, site: SiteFacts, theatre: Place) -> None:
        """The rows of one case say the same; two cases have no one position."""
        alike = tuple(row[name] for name in ("theatre", "day", "session", "position", "procedure", "surgeon"))
        number, first = self.first_rows.setdefault((site.id, row["reference"]), (row.number, alike))
        if first != alike:
            row.fault(
                "reference",
                _("Row %(row)s has the same reference, but another list, position, procedure or surgeon.")
                % {"row": number},
                _("Make the rows of one case agree, or correct the reference."),
            )
        if row["position"] is None:
            return
        place = (theatre.pk, row["day"], row["session"], row["position"])
        number, reference = self.positions.setdefault(place, (row.number, row["reference"]))
        if reference != row["reference"]:
            row.fault(
                "position",
                _("The case in row %(row)s has this position on the list.") % {"row": number},
                _("Give each case its own position, or leave it empty."),
            )

    def _slots(self, row: Row, procedure: Procedure, surgeon: Person | None) -> dict[str, Any]:
        """What the two columns of slots say: ranks and families by slot code."""
        sizes: dict[str, Any] = {}
        families: dict[str, int] = {}
        try:
            plan = plan_for(procedure, surgeon, self.plans)
        except Refusal as refusal:
            refused(row, refusal, "procedure")
            return {"sizes": sizes, "families": families}
        chosen: dict[str, FamilySheet] = {}
        for slot, code in self._parts(row, "families", plan):
            try:
                chosen[slot.slot.code] = family_in_plan(slot, row["side"], self.families.get(code, Family()))
                families[slot.slot.code] = chosen[slot.slot.code].family.pk
            except Refusal as refusal:
                refused(row, refusal, "families")
        for slot, text in self._parts(row, "sizes", plan):
            try:
                sheet = chosen.get(slot.slot.code) or family_in_plan(slot, row["side"], None)
                ranks = sizes_read(row, "sizes", slot, sheet, row["side"], text)
                if ranks is not None:
                    self._check_size(row, slot, sheet, ranks)
                    sizes[slot.slot.code] = ranks
            except Refusal as refusal:
                refused(row, refusal, "sizes")
        return {"sizes": sizes, "families": families}

    def _check_size(self, row: Row, slot: SlotSheet, sheet: FamilySheet, ranks: tuple[int, int]) -> None:
        if not slot.slot.predicted:
            row.fault(
                "sizes",
                _("%(slot)s is not predicted: the plan brings all of it.") % {"slot": slot.slot.name},
                _("Leave its sizes out."),
            )
        predicted = PredictedSize(*ranks, method=row["method"], confidence=row["confidence"])
        try:
            checks.prediction_checked(sheet, row["side"], predicted, slot_name=slot.slot.name)
        except Refusal as refusal:
            refused(row, refusal, "method" if refusal.code == "method-unknown" else "sizes")

    def _parts(self, row: Row, column: str, plan: PlanSheet) -> list[tuple[SlotSheet, str]]:
        """The "slot:what" pairs of a cell, with the plan's slots."""
        found = []
        for part in row[column] or []:
            code, colon, what = (piece.strip() for piece in part.partition(":"))
            slot = plan.slot(code)
            if not colon or not what or slot is None:
                row.fault(
                    column,
                    _("“%(part)s” does not name a slot of the plan.") % {"part": part[:40]},
                    _("Write a slot, a colon and what belongs there. Slots: %(slots)s.")
                    % {"slots": ", ".join(one.slot.code for one in plan.slots)},
                )
                continue
            found.append((slot, what))
        return found

    def key(self, values: dict[str, Any]) -> Hashable:
        return values["site_id"], values["reference"], values["side"]

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        theatres = Place.objects.select_related("site").in_bulk({values["theatre_id"] for values in rows})
        people = {values[name] for values in rows for name in ("surgeon_id", "planner_id")} - {None}
        self.found: dict[str, Any] = {
            "people": Person.objects.in_bulk(people),
            "procedures": Procedure.objects.in_bulk({values["procedure_id"] for values in rows}),
            "families": Family.objects.in_bulk({pk for one in rows for pk in one["families"].values()}),
            "plans": plan_book(),
        }
        cases: dict[tuple[int, str], list[dict[str, Any]]] = defaultdict(list)
        for values in rows:
            cases[values["site_id"], values["reference"]].append(values)
        lists: dict[tuple[Any, ...], TheatreListRow] = {}
        moved: list[tuple[int | None, Moved]] = []
        for sides in sorted(cases.values(), key=lambda one: one[0]["position"] or 1_000):
            first = sides[0]
            place = (first["theatre_id"], first["day"], first["session"])
            if place not in lists:
                lists[place], lines = list_enter(
                    theatre=theatres[place[0]], day=date.fromisoformat(place[1]), session=place[2], at=at
                )
                moved += [(first["site_id"], Moved("list", line.subject_id, "open")) for line in lines]
            booked = self._enter(lists[place], sides, by=by, at=at)
            moved += [(first["site_id"], Moved("case", line.subject_id, line.after)) for line in booked.lines]
        return moves(moved)

    def _enter(
        self, theatre_list: TheatreListRow, sides: list[dict[str, Any]], *, by: Any, at: datetime
    ) -> Any:
        first = sides[0]
        people = self.found["people"]
        predictions = {
            (values["side"], slot): PredictedSize(
                low, high, values["method"], values["confidence"], people.get(values["planner_id"])
            )
            for values in sides
            for slot, (low, high) in values["sizes"].items()
        }
        families = {
            (values["side"], slot): self.found["families"][pk]
            for values in sides
            for slot, pk in values["families"].items()
        }
        return case_enter(
            by=by,
            theatre_list=theatre_list,
            procedure=self.found["procedures"][first["procedure_id"]],
            surgeon=people.get(first["surgeon_id"]),
            reference=first["reference"],
            sides=[values["side"] for values in sides if values["side"] != Side.NONE],
            at=at,
            position=first["position"],
            starts_at=datetime.fromisoformat(first["start"]) if first["start"] else None,
            minutes=first["minutes"],
            urgency=first["urgency"],
            predictions=predictions,
            families=families,
            plans=self.found["plans"],
        )
