"""Files of sealed units and of piles."""

from collections import Counter
from collections.abc import Hashable, Iterable, Sequence
from datetime import datetime
from itertools import islice
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.catalogue.importing import components_by_code
from trays.catalogue.models import Component, FamilyKind
from trays.exchange.columns import Choice, Code, Day, Moment, Text, Whole, YesNo, shown
from trays.exchange.kinds import BATCH, ModelKind, Moved, Moves, OutOfDate, Row, SiteFacts
from trays.parties.models import Party, PartyKind, Tenure
from trays.places.models import Place
from trays.stock.models import Pile, Unit, UnitState
from trays.stock.models_notices import NoticeLot

_OWNER = Code("owner", gettext_lazy("Whose it is."), "loc")
_TENURE = Choice("tenure", gettext_lazy("On what terms it is here."), "owned", words=tuple(Tenure.values))
_SITE = Code("site", gettext_lazy("The site."), "larkmere")
_PLACE = Code("place", gettext_lazy("The shelf or store, by its code."), "A-01", longest=20)
_BIN = Text("bin", gettext_lazy("Where on the shelf."), "2-3", False, longest=20)
_MEASURE = Choice(
    "measure",
    gettext_lazy("Unit of measure of the quantity; single pieces only."),
    "each",
    False,
    "each",
    words=("each", "piece"),
)
_EXPIRES = Day("expires", gettext_lazy("Usable up to and with this day."), "2028-05-31", False)

# States in which an import may bring a unit in: those that are stock.
ARRIVING = (UnitState.SHELF, UnitState.QUARANTINE)


class _Stock(ModelKind):
    """What units and piles have in common."""

    house = False
    acts = ("import_files", "receive_stock")

    def prepare(self) -> None:
        self.components = components_by_code()
        self.parties = Party.objects.in_bulk(field_name="code")
        self.places = {(place.site_id, place.code): place for place in Place.objects.all()}
        self.called_back = _called_back()

    def refuse_changed(self, rows: Iterable[dict[str, Any]]) -> None:
        """A safety notice may have been opened since the file was checked."""
        self._refuse_called_back(rows, _called_back())

    def _refuse_called_back(self, rows: Iterable[dict[str, Any]], lots: set[tuple[int, str]]) -> None:
        if any(_is_named(lots, one["component_id"], one["lot"]) for one in rows if _on_shelf(one)):
            raise OutOfDate

    def thing(self, row: Row, *, consumable: bool) -> Component | None:
        """The component, by its code or its trade code with or without leading zeros."""
        text = row["component"]
        trade_code = text.rjust(14, "0") if text.isdigit() else text
        key = text if text in self.components else trade_code
        component: Component | None = row.find("component", self.components, key=key)
        if component is not None and (component.family.kind == FamilyKind.CONSUMABLE) != consumable:
            row.fault(
                "component",
                _("This is a consumable; it is kept in piles.")
                if not consumable
                else _("This is not a consumable; it is kept as sealed units."),
                _("Put the row into the file of the other kind."),
            )
        return component

    def whose(self, row: Row, component: Component | None) -> Party | None:
        """The owner; owned stock is the hospital's, all other that of the component's supplier."""
        owner: Party | None = row.find("owner", self.parties)
        if owner is not None and (row["tenure"] == Tenure.OWNED) != (owner.kind == PartyKind.HOSPITAL):
            row.fault(
                "tenure",
                _("Owned stock is the hospital's; consigned and loaned stock is a supplier's."),
                _("Correct the owner or the terms."),
            )
        elif (
            owner is not None
            and component is not None
            and owner.kind == PartyKind.SUPPLIER
            and owner.pk != component.supplier_id
        ):
            row.fault(
                "owner",
                _("%(component)s is another supplier's item, not one of %(owner)s.")
                % {"component": shown(component.code), "owner": owner.name},
                _("Correct the component or the owner."),
            )
        return owner

    def where(self, row: Row, site: SiteFacts | None) -> Place | None:
        if site is None:
            return None
        place: Place | None = row.find(
            "place",
            self.places,
            key=(site.id, row["place"]),
            what=_(" at %(site)s") % {"site": site.code},
        )
        return place

    def common(self, row: Row, *, consumable: bool) -> dict[str, Any] | None:
        site = self.site(row)
        component = self.thing(row, consumable=consumable)
        owner = self.whose(row, component)
        place = self.where(row, site)
        on_shelf = consumable or row["state"] == UnitState.SHELF
        if component is not None and on_shelf and _is_named(self.called_back, component.pk, row["lot"]):
            row.fault(
                "lot",
                _("An open safety notice names lot %(lot)s.") % {"lot": shown(row["lot"])},
                _("Take the row out; sealed units can be brought in with the state quarantine."),
            )
        if row.faults or site is None or component is None or owner is None or place is None:
            return None
        return {
            "component_id": component.pk,
            "lot": row["lot"],
            "expires": row["expires"],
            "owner_id": owner.pk,
            "tenure": row["tenure"],
            "site_id": site.id,
            "place_id": place.pk,
            "bin": row["bin"],
        }

    def in_date(self, row: Row, site: SiteFacts | None) -> None:
        if site is None or row["expires"] is None or row["expires"] >= self.today(site.zone):
            return
        row.fault(
            "expires",
            _("This expired on %(day)s and cannot be put on a shelf as usable.")
            % {"day": row["expires"].isoformat()},
            _("Take the row out, correct the day, or bring it in with the state quarantine."),
        )


def _called_back() -> set[tuple[int, str]]:
    """Component and lot of every open safety notice; an empty lot is all of them."""
    rows = NoticeLot.objects.filter(notice__closed_at__isnull=True)
    return set(rows.values_list("component_id", "lot"))


def _is_named(lots: set[tuple[int, str]], component_id: int, lot: str) -> bool:
    return not lots.isdisjoint({(component_id, lot), (component_id, "")})


def _on_shelf(values: dict[str, Any]) -> bool:
    return values.get("state", UnitState.SHELF) == UnitState.SHELF


class Units(_Stock):
    """So many sealed units of one lot a row, or one with its serial."""

    in_chunks = True
    code = "units"
    title = gettext_lazy("Sealed units")
    about = gettext_lazy("Sealed implants on the shelves. Rows are receipts: each adds units.")
    model = Unit
    subject = "unit"
    key_column = "serial"
    columns = (
        Code("component", gettext_lazy("Its code or GTIN."), "mk-fcr-5-l"),
        Text(
            "lot", gettext_lazy("Lot, as printed. Lot or serial must be there."), "M24117", False, longest=20
        ),
        Text("serial", gettext_lazy("Serial, if it has one."), "", False, longest=20),
        _EXPIRES,
        Whole("quantity", gettext_lazy("How many of this lot."), "1", False, 1, low=1, high=5_000),
        _MEASURE,
        _OWNER,
        _TENURE,
        _SITE,
        _PLACE,
        _BIN,
        Choice("state", gettext_lazy("Empty means on the shelf."), "shelf", False, "shelf", words=ARRIVING),
        Moment("received", gettext_lazy("When it came, by the site's clock."), "2026-11-02 10:00"),
        YesNo("code_reads", gettext_lazy("Whether its own code can be scanned."), "yes", False, True),
    )

    def prepare(self) -> None:
        super().prepare()
        rows = Unit.objects.values_list("component_id", "serial", "lot", "place_id", "received_at")
        self.known = {(component, serial) for component, serial, *_ in rows if serial}
        receipts = ((row[0], row[2], row[3], row[4]) for row in rows if not row[1])
        self.receipts: Counter[tuple[Any, ...]] = Counter(receipts)

    def check(self, row: Row) -> dict[str, Any] | None:
        if not row["lot"] and not row["serial"]:
            row.fault("lot", _("Neither lot nor serial is there."), _("Copy one of them from the pack."))
        if row["serial"] and row["quantity"] != 1:
            row.fault("quantity", _("A serial stands for one unit."), _("Write 1, one row for each serial."))
        if row["state"] == UnitState.SHELF:
            self.in_date(row, self.sites.get(row["site"]))
        values = self.common(row, consumable=False)
        if values is None or row.faults:
            return None
        received = self.moment(row["received"], self.sites[row["site"]].zone)
        receipt = (values["component_id"], row["lot"], values["place_id"], received)
        if not row["serial"] and self.receipts[receipt]:
            row.fault(
                "received",
                _("%(count)s of this lot with this moment of receipt are on file already.")
                % {"count": self.receipts[receipt]},
                _("Take the row out; if they came at another time, correct it."),
            )
        return {
            **values,
            "serial": row["serial"],
            "state": row["state"],
            "received_at": received,
            "code_reads": row["code_reads"],
            "_count": row["quantity"],
        }

    def key(self, values: dict[str, Any]) -> Hashable | None:
        return (values["component_id"], values["serial"]) if values["serial"] else None

    def moved(self, made: Unit, values: dict[str, Any]) -> Moved:
        return Moved(self.subject, made.pk, made.state, 1)

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        return super().apply([values for values in rows for _each in range(values["_count"])], by=by, at=at)

    def refuse_changed(self, rows: Iterable[dict[str, Any]]) -> None:
        """No law of the database knows a receipt without serials again: another file may have brought it."""
        waiting, lots = iter(rows), _called_back()
        while chunk := list(islice(waiting, BATCH)):
            self._refuse_called_back(chunk, lots)
            self._refuse_received(chunk)

    def _refuse_received(self, rows: Sequence[dict[str, Any]]) -> None:
        receipts = {
            (one["component_id"], one["lot"], one["place_id"], datetime.fromisoformat(one["received_at"]))
            for one in rows
            if not one["serial"]
        }
        if not receipts:
            return
        moments = [received for *_rest, received in receipts]
        between = Unit.objects.filter(serial="", received_at__range=(min(moments), max(moments)))
        on_file = between.values_list("component_id", "lot", "place_id", "received_at").distinct()
        if not receipts.isdisjoint(on_file.iterator()):
            raise OutOfDate


class Piles(_Stock):
    """One lot of one consumable at one place a row."""

    code = "piles"
    title = gettext_lazy("Piles of consumables")
    about = gettext_lazy("Consumables by lot and place, counted in pieces as they are ordered.")
    model = Pile
    subject = "pile"
    key_column = "lot"
    columns = (
        Code("component", gettext_lazy("Its code or GTIN."), "swab-10"),
        Text("lot", gettext_lazy("Lot, as printed."), "S2231", longest=20),
        _EXPIRES,
        Whole("quantity", gettext_lazy("How many there are."), "40", low=0),
        _MEASURE,
        _OWNER,
        _TENURE,
        _SITE,
        _PLACE,
        _BIN,
    )

    def prepare(self) -> None:
        super().prepare()
        rows = Pile.objects.values_list("component_id", "lot", "expires", "owner_id", "place_id")
        self.known = set(rows)

    def check(self, row: Row) -> dict[str, Any] | None:
        values = self.common(row, consumable=True)
        return None if values is None else {**values, "quantity": row["quantity"]}

    def key(self, values: dict[str, Any]) -> Hashable:
        return tuple(values[name] for name in ("component_id", "lot", "expires", "owner_id", "place_id"))

    def moved(self, made: Pile, values: dict[str, Any]) -> Moved:
        return Moved(self.subject, made.pk, "", made.quantity)
