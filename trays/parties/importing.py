"""Files of organisations and sites."""

from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.exchange.columns import Choice, Code, Number, Several, Text, Whole
from trays.exchange.keys import Gln
from trays.exchange.kinds import ModelKind, Row
from trays.parties.models import Party, PartyKind, Site, Tenure, default_count_stages, default_owner_order


class Parties(ModelKind):
    """One organisation a row."""

    code = "parties"
    title = gettext_lazy("Organisations")
    about = gettext_lazy("The hospital itself and its suppliers.")
    model = Party
    subject = "party"
    columns = (
        Code("code", gettext_lazy("How other files name it."), "merrowfield"),
        Text("name", gettext_lazy("Its full name."), "Merrowfield"),
        Choice("kind", gettext_lazy("What it is."), "supplier", words=tuple(PartyKind.values)),
        Gln("gln", gettext_lazy("Its GLN, if it has one."), "9521234000013", required=False),
        Whole(
            "lead_working_days",
            gettext_lazy("Working days from order to delivery."),
            "2",
            required=False,
            default=2,
            high=120,
        ),
        Text("country", gettext_lazy("Its country, two letters."), "GB", required=False, longest=2),
    )

    def prepare(self) -> None:
        self.known = set(Party.objects.values_list("code", flat=True))

    def check(self, row: Row) -> dict[str, Any] | None:
        country = row["country"]
        if country and not (len(country) == 2 and country.isascii() and country.isalpha()):
            row.fault("country", _("“%(text)s” is no country.") % {"text": country}, _("Write it as in GB."))
            return None
        return {**row.values, "country": country.upper()}

    def key(self, values: dict[str, Any]) -> str:
        return str(values["code"])


class Sites(ModelKind):
    """One site a row, with its clock and its policy."""

    code = "sites"
    title = gettext_lazy("Sites")
    about = gettext_lazy("Sites of the hospital, each with its time zone and its policy.")
    model = Site
    subject = "site"
    columns = (
        Code("code", gettext_lazy("How other files name it."), "larkmere"),
        Text("name", gettext_lazy("Its name."), "Larkmere"),
        Code("party", gettext_lazy("The organisation it belongs to."), "loc"),
        Text("zone", gettext_lazy("Its time zone."), "Europe/London", longest=60),
        Gln("gln", gettext_lazy("Its GLN, if it has one."), "9521234000013", required=False),
        Text("currency", gettext_lazy("Three letters."), "GBP", required=False, default="GBP", longest=3),
        Number("wanted_in_room", gettext_lazy("Chance wanted in the room."), "0.95", False, 0.95),
        Number("wanted_on_site", gettext_lazy("Chance wanted on site."), "0.99", False, 0.99),
        Number("margin", gettext_lazy("How far below wanted still counts as thin."), "0.03", False, 0.03),
        Whole("sizes_each_way", gettext_lazy("Least sizes each way on a pick list."), "1", False, 1, high=20),
        Several(
            "owner_order",
            gettext_lazy("Whose stock goes first."),
            "consigned|owned|loaned",
            False,
            None,
            words=tuple(Tenure.values),
        ),
        Several(
            "count_stages",
            gettext_lazy("The count's stages, in order."),
            "First count|Cavity|Wound|Final",
            False,
        ),
        Whole("added_rows", gettext_lazy("Blank rows on a count sheet."), "4", False, 4, high=40),
        Whole(
            "turnaround_minutes",
            gettext_lazy("Minutes until a used set is ready again."),
            "360",
            False,
            360,
            low=1,
            high=20_000,
        ),
    )

    def prepare(self) -> None:
        self.parties = Party.objects.in_bulk(field_name="code")
        self.known = set(Site.objects.values_list("code", flat=True))

    def check(self, row: Row) -> dict[str, Any] | None:
        party = row.find("party", self.parties)
        if not _zone_known(row["zone"]):
            row.fault(
                "zone",
                _("There is no time zone “%(zone)s”.") % {"zone": row["zone"]},
                _("Write it as in Europe/London."),
            )
        order = row["owner_order"] or default_owner_order()
        if sorted(order) != sorted(Tenure.values):
            row.fault("owner_order", _("Each of the three words must stand once."), "consigned|owned|loaned")
        if row.faults:
            return None
        stages = row["count_stages"] or default_count_stages()
        values = {**row.values, "party_id": party.pk, "owner_order": order, "count_stages": stages}
        del values["party"]
        return values

    def key(self, values: dict[str, Any]) -> str:
        return str(values["code"])


def _zone_known(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True
