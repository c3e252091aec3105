"""Files of sterile services: machines, programmes, tests, rules, hours, spares and marked instruments."""

from collections.abc import Hashable
from datetime import datetime
from typing import Any, ClassVar

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.exchange.columns import Choice, Clock, Code, Day, Number, Text, Whole, YesNo
from trays.exchange.kinds import ModelKind, Row
from trays.instruments.models import InstrumentType, Pack
from trays.instruments.models_pieces import Piece, PieceState, Spare
from trays.places.models import Place
from trays.processing.models_machines import DayTestRule, Machine, MachineKind, Programme
from trays.processing.models_policy import Policy, StageAllowance, Trip, TripKind, WorkingHours
from trays.processing.times import STAGES

_SITE = Code("site", gettext_lazy("The site."), "larkmere")
_KIND = Choice("kind", gettext_lazy("Which machines."), "sterilizer", words=tuple(MachineKind.values))
_FROM = Day("valid_from", gettext_lazy("From which day."), "2027-01-01")


class _OfSite(ModelKind):
    """Kinds whose rows belong to a site, known by the site and a few of their columns."""

    house = False
    named_by: ClassVar[tuple[str, ...]] = ("code",)

    def prepare(self) -> None:
        named = [self.columns_of.get(name, name) for name in self.named_by]
        self.known = {
            tuple(str(part) for part in row)
            for row in self.model._default_manager.values_list("site_id", *named)
        }

    columns_of: ClassVar[dict[str, str]] = {}

    def check(self, row: Row) -> dict[str, Any] | None:
        site = self.site(row)
        if site is None:
            return None
        values = {**row.values, "site_id": site.id}
        del values["site"]
        self.further(row, values)
        return None if row.faults else values

    def further(self, row: Row, values: dict[str, Any]) -> None:
        """What else must hold of the row, and what its codes stand for."""

    def key(self, values: dict[str, Any]) -> Hashable:
        parts = [values[self.columns_of.get(name, name)] for name in self.named_by]
        return tuple(str(part) for part in (values["site_id"], *parts))


class _AtPlace(_OfSite):
    """Rows that name a place of their site."""

    def prepare(self) -> None:
        super().prepare()
        self.places = {(place.site_id, place.code): place for place in Place.objects.all()}

    def further(self, row: Row, values: dict[str, Any]) -> None:
        place = row.find("place", self.places, key=(values["site_id"], row["place"]))
        values.pop("place")
        values["place_id"] = place.pk if place else None


class Machines(_AtPlace):
    """One machine a row."""

    code = "machines"
    title = gettext_lazy("Machines")
    about = gettext_lazy("Washer-disinfectors and sterilizers, and how many packs each takes.")
    model, subject = Machine, "machine"
    key_column = "code"
    columns = (
        _SITE,
        Code("code", gettext_lazy("How load numbers name it."), "S1", longest=20),
        Text("name", gettext_lazy("Its name."), "Sterilizer 1", longest=80),
        _KIND,
        Code("place", gettext_lazy("Where it stands."), "A-01", longest=20),
        Whole("packs", gettext_lazy("How many packs it takes."), "12", low=1, high=200),
    )


class Programmes(_OfSite):
    """One programme a row, from a day on."""

    code = "programmes"
    title = gettext_lazy("Programmes")
    about = gettext_lazy("What machines run, and the least values a cycle must reach, from a day on.")
    model, subject = Programme, "programme"
    key_column = "valid_from"
    named_by = ("kind", "code", "valid_from")
    columns = (
        _SITE,
        _KIND,
        Code("code", gettext_lazy("Its code."), "p134", longest=20),
        Text("name", gettext_lazy("Its name."), "134 °C, wrapped", longest=80),
        _FROM,
        Number("low_celsius", gettext_lazy("Least temperature of the hold."), "134", low=20, high=160),
        Number("high_celsius", gettext_lazy("Greatest temperature of the hold."), "137", low=20, high=160),
        Whole("hold_seconds", gettext_lazy("How long it must hold."), "180", low=1, high=7200),
        Whole("least_a0", gettext_lazy("Least A0, for washers."), "600", False, None, low=1, high=100_000),
        Whole("least_f0", gettext_lazy("Least F0, for sterilizers."), "50", False, None, low=1, high=10_000),
        Whole("minutes", gettext_lazy("How long a cycle usually takes."), "55", low=1, high=600),
        YesNo("immediate_use", gettext_lazy("For use at once, unwrapped."), "no", False, False),
    )

    def further(self, row: Row, values: dict[str, Any]) -> None:
        if row["high_celsius"] <= row["low_celsius"]:
            row.fault(
                "high_celsius",
                _("The greatest temperature is not above the least."),
                _("Correct one of the two."),
            )


class DayTests(_OfSite):
    """One test a row, asked each day of each machine of a kind."""

    code = "day-tests"
    title = gettext_lazy("Tests of the day")
    about = gettext_lazy("What each machine of a kind must pass on a day before it takes anything.")
    model, subject = DayTestRule, "day_test_rule"
    key_column = "code"
    named_by = ("kind", "code", "valid_from")
    columns = (
        _SITE,
        _KIND,
        Code("code", gettext_lazy("Its code."), "air", longest=20),
        Text("name", gettext_lazy("Its name."), "Air removal test", longest=80),
        _FROM,
        Day("valid_until", gettext_lazy("Up to and with which day."), "", False),
    )


class ProcessingRules(_OfSite):
    """One set of rules a row, from a day on."""

    code = "processing-rules"
    title = gettext_lazy("Rules of sterile services")
    about = gettext_lazy("Shelf life, weight limit, who releases: what a site has decided, from a day on.")
    acts = ("import_files", "set_processing_policy")
    model, subject = Policy, "processing_policy"
    key_column = "valid_from"
    named_by = ("valid_from",)
    columns = (
        _SITE,
        _FROM,
        Whole(
            "shelf_life_days",
            gettext_lazy("Days that a pack keeps; empty: until opened, wet, torn or dropped."),
            "180",
            False,
            None,
            low=1,
            high=3650,
        ),
        Whole("weight_limit_grams", gettext_lazy("Most that a pack weighs."), "10000", low=1, high=40_000),
        YesNo(
            "biological_for_implants", gettext_lazy("Loads with implants wait for it."), "yes", False, True
        ),
        YesNo(
            "another_releases", gettext_lazy("Nobody releases what they alone packed."), "yes", False, True
        ),
        YesNo("second_check", gettext_lazy("A second person checks each pack."), "no", False, False),
    )


class StageTimes(_OfSite):
    """How long one stage takes, a row."""

    code = "stage-times"
    title = gettext_lazy("Times of the stages")
    about = gettext_lazy("How long each stage is reckoned to take, until the site's own records say.")
    model, subject = StageAllowance, "stage_allowance"
    key_column = "state"
    named_by = ("state",)
    columns = (
        _SITE,
        Choice(
            "state",
            gettext_lazy("The state in which the stage begins."),
            "cleaned",
            words=tuple(str(state) for state in STAGES),
        ),
        Whole(
            "half_minutes", gettext_lazy("Half of them are over in so many minutes."), "40", low=0, high=5000
        ),
        Whole("nine_in_ten_minutes", gettext_lazy("Nine in ten are over."), "120", low=0, high=20_000),
    )

    def further(self, row: Row, values: dict[str, Any]) -> None:
        if row["nine_in_ten_minutes"] < row["half_minutes"]:
            row.fault(
                "nine_in_ten_minutes",
                _("Nine in ten take no less time than half."),
                _("Correct one of the two."),
            )


class Hours(_OfSite):
    """One stretch of working time of one weekday a row."""

    code = "working-hours"
    title = gettext_lazy("Working hours")
    about = gettext_lazy("When sterile services work; none for round the clock.")
    model, subject = WorkingHours, "working_hours"
    key_column = "opens"
    named_by = ("weekday", "opens")
    columns = (
        _SITE,
        Whole("weekday", gettext_lazy("1 for Monday to 7 for Sunday."), "1", low=1, high=7),
        Clock("opens", gettext_lazy("From when."), "06:00"),
        Clock("closes", gettext_lazy("Until when."), "21:00"),
    )

    def further(self, row: Row, values: dict[str, Any]) -> None:
        values["weekday"] -= 1
        if row["closes"] <= row["opens"]:
            row.fault("closes", _("It closes before it opens."), _("Write a night as two rows."))


class Trips(_OfSite):
    """One run of the timetable of one weekday a row."""

    code = "trips"
    title = gettext_lazy("Collections and deliveries")
    about = gettext_lazy("When what was used is fetched, and what is sterile is brought.")
    model, subject = Trip, "trip"
    key_column = "leaves"
    named_by = ("kind", "weekday", "leaves")
    columns = (
        _SITE,
        Choice("kind", gettext_lazy("Which way."), "collection", words=tuple(TripKind.values)),
        Whole("weekday", gettext_lazy("1 for Monday to 7 for Sunday."), "1", low=1, high=7),
        Clock("leaves", gettext_lazy("When it leaves."), "10:30"),
        Whole("minutes", gettext_lazy("How long it takes."), "15", False, 15, low=0, high=600),
    )

    def further(self, row: Row, values: dict[str, Any]) -> None:
        values["weekday"] -= 1


class Spares(_AtPlace):
    """Spare instruments of one type at one place a row."""

    code = "spares"
    title = gettext_lazy("Spare instruments")
    about = gettext_lazy("How many spares of each instrument lie where.")
    model, subject = Spare, "spare"
    key_column = "instrument"
    named_by = ("instrument", "place")
    columns_of: ClassVar[dict[str, str]] = {"instrument": "type_id", "place": "place_id"}
    columns = (
        _SITE,
        Code("instrument", gettext_lazy("The type of instrument."), "retractor-bent"),
        Code("place", gettext_lazy("Where they lie."), "A-01", longest=20),
        Text("bin", gettext_lazy("Where there."), "drawer 4", False, longest=20),
        Whole("quantity", gettext_lazy("How many."), "2", low=0, high=10_000),
    )

    def prepare(self) -> None:
        super().prepare()
        self.types = InstrumentType.objects.in_bulk(field_name="code")

    def further(self, row: Row, values: dict[str, Any]) -> None:
        super().further(row, values)
        found = row.find("instrument", self.types)
        values.pop("instrument")
        values["type_id"] = found.pk if found else None


class Pieces(_OfSite):
    """One marked instrument a row."""

    code = "pieces"
    title = gettext_lazy("Marked instruments")
    about = gettext_lazy("Single instruments that carry a code of their own.")
    model, subject = Piece, "piece"
    key_column = "mark"
    named_by = ("mark",)
    columns = (
        _SITE,
        Code("instrument", gettext_lazy("The type of instrument."), "retractor-bent"),
        Text("mark", gettext_lazy("What its code says."), "9521234I000077", longest=60),
        Code("pack", gettext_lazy("The pack it belongs to; empty for a spare."), "P004711", False, ""),
    )

    def prepare(self) -> None:
        super().prepare()
        self.types = InstrumentType.objects.in_bulk(field_name="code")
        self.packs = {pack.number: pack for pack in Pack.objects.select_related("set")}

    def further(self, row: Row, values: dict[str, Any]) -> None:
        found, pack = row.find("instrument", self.types), row.find("pack", self.packs)
        if pack is not None and pack.set.site_id != values["site_id"]:
            row.fault("pack", _("This pack belongs to another site."), _("Correct the pack, or the site."))
        values.pop("instrument")
        values["pack"] = None
        values["pack_id"] = pack.pk if pack else None
        values["type_id"] = found.pk if found else None
        values["state"] = PieceState.IN_SET if pack else PieceState.SPARE

    def make(self, values: dict[str, Any], *, by: Any, at: datetime) -> Any:
        return super().make({k: v for k, v in values.items() if k != "pack"}, by=by, at=at)
