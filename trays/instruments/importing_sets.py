"""Files of sets, their packs, and what each pack really holds."""

from collections.abc import Hashable, Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.exchange.columns import Choice, Code, Day, Moment, Text, Whole, YesNo
from trays.exchange.keys import AssetKey
from trays.exchange.kinds import BATCH, ModelKind, Moved, Moves, Row, moves
from trays.instruments.models import (
    ContentsLine,
    DesignVersion,
    InstrumentSet,
    Pack,
    PackLine,
    PackState,
)
from trays.parties.models import Party, PartyKind, Tenure
from trays.places.models import Place
from trays.staff.models import Person


class Sets(ModelKind):
    """One physical set a row."""

    code = "sets"
    title = gettext_lazy("Sets")
    about = gettext_lazy("Each set that exists, built to an issue of its design's contents list.")
    house = False
    model = InstrumentSet
    subject = "set"
    columns = (
        Code("code", gettext_lazy("The set's number."), "KG-01"),
        Code("design", gettext_lazy("Its design."), "kn-gen"),
        Whole("version", gettext_lazy("The issue of the contents list."), "1", low=1, high=999),
        AssetKey("grai", gettext_lazy("Its GRAI."), "09521234000013KG01", False, returnable=True),
        Code("site", gettext_lazy("Where it is at home."), "larkmere"),
        Code("owner", gettext_lazy("Whose it is."), "loc"),
        Choice("tenure", gettext_lazy("On what terms it is here."), "owned", words=tuple(Tenure.values)),
    )

    def prepare(self) -> None:
        rows = DesignVersion.objects.select_related("design")
        self.versions = {(one.design.code, one.version): one for one in rows}
        self.parties = Party.objects.in_bulk(field_name="code")
        self.known = set(InstrumentSet.objects.values_list("code", flat=True))
        self.grais = set(InstrumentSet.objects.exclude(grai=None).values_list("grai", flat=True))

    def check(self, row: Row) -> dict[str, Any] | None:
        site = self.site(row)
        version = row.find("design", self.versions, key=(row["design"], row["version"]))
        owner = row.find("owner", self.parties)
        if owner is not None and (row["tenure"] == Tenure.OWNED) != (owner.kind == PartyKind.HOSPITAL):
            row.fault(
                "tenure",
                _("Owned sets are the hospital's; consigned and loaned ones a supplier's."),
                _("Correct the owner or the terms."),
            )
        if row["grai"] and row["grai"] in self.grais:
            row.fault("grai", _("Another set has this GRAI."), _("Each set has its own serial."))
        self.grais.add(row["grai"])
        if row.faults or site is None or version is None or owner is None:
            return None
        return {
            "version_id": version.pk,
            "code": row["code"],
            "grai": row["grai"],
            "site_id": site.id,
            "owner_id": owner.pk,
            "tenure": row["tenure"],
        }

    def key(self, values: dict[str, Any]) -> str:
        return str(values["code"])


class _InSets(ModelKind):
    """Kinds whose rows stand in packs of sets; the site is the set's."""

    house = False

    def set_of(self, row: Row) -> InstrumentSet | None:
        found: InstrumentSet | None = row.find("set", self.by_code)
        if found is not None:
            self.site_allowed(row, found.site_id, "set")
        return found

    def prepare(self) -> None:
        self.by_code = InstrumentSet.objects.in_bulk(field_name="code")
        self.site_codes = {facts.id: facts for facts in self.sites.values()}


class Packs(_InSets):
    """One pack (a tray of a set) a row."""

    code = "packs"
    title = gettext_lazy("Packs")
    about = gettext_lazy("Each tray of each set: its number, where and in what state it is.")
    model = Pack
    subject = "pack"
    key_column = "number"
    columns = (
        Code("set", gettext_lazy("The set."), "KG-01"),
        Whole("tray", gettext_lazy("Which tray of it."), "1", False, 1, low=1, high=20),
        Code("number", gettext_lazy("The pack's own number."), "P004711", longest=20),
        AssetKey("giai", gettext_lazy("Its GIAI."), "9521234P004711", False),
        Code("place", gettext_lazy("Where it is."), "S-A", longest=20),
        Text("bin", gettext_lazy("Where on the shelf."), "1-2", False, longest=20),
        Choice("state", gettext_lazy("In what state."), "stored", words=tuple(PackState.values)),
        Day("sterile_until", gettext_lazy("Sterile up to and with this day."), "2027-05-31", False),
        Text("load", gettext_lazy("The sterilizer's load."), "A2-3311", False, longest=30),
        Moment("packed_at", gettext_lazy("When it was packed."), "2026-11-30 14:20", False),
        Code("packed_by", gettext_lazy("Who packed it (sign-in)."), "", False, "", longest=60),
        Whole("round", gettext_lazy("How many times it has been through."), "231", False, 1, low=1),
        Whole("weight_grams", gettext_lazy("Packed weight."), "7400", False, None, low=1, high=40_000),
        YesNo("container", gettext_lazy("A rigid container, not a wrap."), "no", False, False),
        YesNo(
            "complete",
            gettext_lazy("Yes: all lines are there. No: they come with a file of pack lines."),
            "no",
            False,
            True,
        ),
    )

    def prepare(self) -> None:
        super().prepare()
        self.places = {(place.site_id, place.code): place for place in Place.objects.all()}
        self.people = Person.objects.in_bulk(field_name="username")
        self.trays = set(ContentsLine.objects.values_list("version_id", "tray"))
        self.known = set(Pack.objects.values_list("number", flat=True))
        self.taken = set(Pack.objects.values_list("set_id", "tray"))
        self.giais = set(Pack.objects.exclude(giai=None).values_list("giai", flat=True))

    def check(self, row: Row) -> dict[str, Any] | None:
        of_set = self.set_of(row)
        packer = row.find("packed_by", self.people)
        if row["giai"] and row["giai"] in self.giais:
            row.fault("giai", _("Another pack has this GIAI."), _("Each pack has its own."))
        self.giais.add(row["giai"])
        if of_set is None:
            return None
        place = row.find("place", self.places, key=(of_set.site_id, row["place"]))
        self._check_tray(row, of_set)
        if row.faults or place is None:
            return None
        skipped = ("set", "place", "packed_by", "packed_at", "complete")
        values = {name: value for name, value in row.values.items() if name not in skipped}
        zone = self.site_codes[of_set.site_id].zone
        return {
            **values,
            "set_id": of_set.pk,
            "place_id": place.pk,
            "packed_by_id": packer.pk if packer else None,
            "packed_at": self.moment(row["packed_at"], zone),
            "_site": of_set.site_id,
            "_complete": of_set.version_id if row["complete"] else None,
        }

    def _check_tray(self, row: Row, of_set: InstrumentSet) -> None:
        if (of_set.version_id, row["tray"]) not in self.trays:
            row.fault(
                "tray",
                _("The set's contents list has no tray %(tray)s.") % {"tray": row["tray"]},
                _("Correct the number, or import the contents list first."),
            )
        if (of_set.pk, row["tray"]) in self.taken:
            row.fault("tray", _("This tray of the set has a pack already."), _("Take one of the two out."))
        self.taken.add((of_set.pk, row["tray"]))

    def key(self, values: dict[str, Any]) -> str:
        return str(values["number"])

    def moved(self, made: Pack, values: dict[str, Any]) -> Moved:
        return Moved(self.subject, made.pk, made.state)

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        found = super().apply(rows, by=by, at=at)
        versions = {values["_complete"] for values in rows if values["_complete"]}
        lines: dict[tuple[int, int], list[ContentsLine]] = {}
        for line in ContentsLine.objects.filter(version_id__in=versions):
            lines.setdefault((line.version_id, line.tray), []).append(line)
        packs = Pack.objects.in_bulk([values["number"] for values in rows], field_name="number")
        PackLine.objects.bulk_create(
            [
                PackLine(pack=packs[values["number"]], line=line, present=line.quantity)
                for values in rows
                for line in lines.get((values["_complete"], values["tray"]), ())
            ],
            batch_size=BATCH,
        )
        return found


class PackLines(_InSets):
    """What one pack holds of one line of its contents list: one a row."""

    code = "pack-lines"
    title = gettext_lazy("Contents of packs")
    about = gettext_lazy("What is really in a pack, for packs imported as not complete.")
    model = PackLine
    subject = "pack"
    key_column = "number"
    columns = (
        Code("pack", gettext_lazy("The pack's number."), "P004711", longest=20),
        Whole("number", gettext_lazy("The line on the contents list."), "1", low=1, high=999),
        Whole("present", gettext_lazy("How many are there."), "2", high=500),
    )

    def prepare(self) -> None:
        super().prepare()
        packs = Pack.objects.select_related("set")
        self.packs = {pack.number: pack for pack in packs}
        rows = ContentsLine.objects.values_list("version_id", "tray", "number", "pk")
        self.lines = {(version, tray, number): pk for version, tray, number, pk in rows}
        self.known = set(PackLine.objects.values_list("pack_id", "line_id"))

    def check(self, row: Row) -> dict[str, Any] | None:
        pack = row.find("pack", self.packs)
        if pack is None:
            return None
        self.site_allowed(row, pack.set.site_id, "pack")
        line = row.find("number", self.lines, key=(pack.set.version_id, pack.tray, row["number"]))
        if row.faults:
            return None
        return {"pack_id": pack.pk, "line_id": line, "present": row["present"], "_site": pack.set.site_id}

    def key(self, values: dict[str, Any]) -> Hashable:
        return values["pack_id"], values["line_id"]

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        super().apply(rows, by=by, at=at)
        packs = {values["pack_id"]: values["_site"] for values in rows}
        return moves((site, Moved("pack", pack)) for pack, site in packs.items())
