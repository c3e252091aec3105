"""Files of places."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.exchange.columns import Choice, Code, Text, Whole
from trays.exchange.keys import Gln
from trays.exchange.kinds import BATCH, ImportKind, Moved, Moves, Row, moves
from trays.places.models import Place, PlaceKind


class Places(ImportKind):
    """One place a row. A room that another place stands in comes before it in the file."""

    code = "places"
    title = gettext_lazy("Places")
    about = gettext_lazy("Stores, shelves, theatres: where things can be, in walking order.")
    house = False
    key_column = "code"
    columns = (
        Code("site", gettext_lazy("The site."), "larkmere"),
        Code("code", gettext_lazy("How other files and labels name it, once at a site."), "A-01", longest=20),
        Text("name", gettext_lazy("Its name."), "Sterile store, bay A", longest=80),
        Choice("kind", gettext_lazy("What it is."), "sterile_store", words=tuple(PlaceKind.values)),
        Code("room", gettext_lazy("The place it stands in."), "", False, ""),
        Whole("walk", gettext_lazy("Its turn when somebody walks to pick."), "10", False, 0),
        Gln("gln", gettext_lazy("The room's GLN, if its label carries one."), "9521234000013", False),
        Code("extension", gettext_lazy("What follows the GLN on the label."), "A01", False, "", longest=20),
    )

    def prepare(self) -> None:
        rows = Place.objects.values_list("site_id", "code", "gln", "extension")
        self.known = {(site, code) for site, code, _gln, _extension in rows}
        self.rooms = set(self.known)
        self.scans = {(gln, extension) for _site, _code, gln, extension in rows if gln}

    def check(self, row: Row) -> dict[str, Any] | None:
        site = self.site(row)
        if site is None:
            return None
        room = (site.id, row["room"])
        if row["room"] and room not in self.rooms:
            row.fault(
                "room",
                _("“%(code)s” is not a place of this site.") % {"code": row["room"]},
                _("Let its own row come first, or correct the code."),
            )
        if row["gln"]:
            if (row["gln"], row["extension"]) in self.scans:
                row.fault(
                    "extension",
                    _("Another place has the same GLN and extension."),
                    _("Give each place its own extension."),
                )
            self.scans.add((row["gln"], row["extension"]))
        self.rooms.add((site.id, row["code"]))
        values = {**row.values, "site_id": site.id}
        del values["site"]
        return values

    def key(self, values: dict[str, Any]) -> tuple[Any, ...]:
        return values["site_id"], values["code"]

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        rooms: dict[int, dict[str, Place]] = {values["site_id"]: {} for values in rows}
        for place in Place.objects.filter(site_id__in=rooms):
            rooms[place.site_id][place.code] = place
        made = []
        inside = []
        for values in rows:
            given = {name: value for name, value in values.items() if name != "room"}
            place = Place(**given)
            made.append(place)
            rooms[values["site_id"]][place.code] = place
            if values["room"]:
                inside.append((place, rooms[values["site_id"]][values["room"]]))
        Place.objects.bulk_create(made, batch_size=BATCH)
        for place, room in inside:
            place.room = room
        Place.objects.bulk_update([place for place, _room in inside], ["room"], batch_size=BATCH)
        return moves((place.site_id, Moved("place", place.pk)) for place in made)
