"""Files of agreements and prices."""

from collections.abc import Hashable, Sequence
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.catalogue.importing import components_by_code
from trays.catalogue.models import Component
from trays.exchange.columns import Choice, Code, Day, Money, Text, Whole
from trays.exchange.kinds import BATCH, ImportKind, ModelKind, Moved, Moves, OutOfDate, Row, moves
from trays.loans.models_agreements import Agreement, AgreementLine, Price, Replacement
from trays.parties.models import Party, PartyKind

_SUPPLIER = Code("supplier", gettext_lazy("The supplier."), "merrowfield")
_COMPONENT = Code("component", gettext_lazy("The item, by its code or GTIN."), "mk-fcr-5-l")
_FROM = Day("valid_from", gettext_lazy("From which day on."), "2026-01-01")
_UNTIL = Day("valid_until", gettext_lazy("Up to and with this day; empty: without an end."), "", False)
CURRENCY = Text("currency", gettext_lazy("Three letters."), "GBP", False, "GBP", longest=3)


class OfSuppliers(ImportKind):
    """What kinds that name a supplier and its items have in common."""

    def prepare(self) -> None:
        self.components = components_by_code()
        self.parties = Party.objects.in_bulk(field_name="code")

    def supplier(self, row: Row) -> Party | None:
        found: Party | None = row.find("supplier", self.parties)
        if found is not None and found.kind != PartyKind.SUPPLIER:
            row.fault("supplier", _("This is no supplier."), _("Correct the code."))
            return None
        return found

    def item(self, row: Row, supplier: Party | None) -> Component | None:
        """The component, which is to be the supplier's own."""
        text = row["component"]
        key = text if text in self.components or not text.isdigit() else text.rjust(14, "0")
        found: Component | None = row.find("component", self.components, key=key)
        if found is not None and supplier is not None and found.supplier_id != supplier.pk:
            row.fault(
                "component",
                _("This is not an item of %(who)s.") % {"who": supplier},
                _("Correct the item or the supplier."),
            )
        return found

    def in_order(self, row: Row) -> None:
        if row["valid_until"] is not None and row["valid_until"] < row["valid_from"]:
            row.fault("valid_until", _("It ends before it begins."), _("Correct one of the two days."))

    def currency(self, row: Row) -> str:
        text = str(row["currency"]).upper()
        if len(text) != 3 or not text.isascii() or not text.isalpha():
            row.fault(
                "currency", _("A currency is three letters."), _("Write it as GBP or EUR, for example.")
            )
        return text


class Agreements(OfSuppliers):
    """One item of one agreement a row; the agreement's own terms are the same on each of its rows."""

    code = "agreements"
    title = gettext_lazy("Agreements")
    about = gettext_lazy("Consignment: what stands on our shelves and is the supplier's until it is used.")
    house = False
    acts = ("import_files", "keep_agreements")
    key_column = "component"
    columns = (
        Code("agreement", gettext_lazy("Its code."), "CA-2026-01"),
        Code("site", gettext_lazy("For which site."), "larkmere"),
        _SUPPLIER,
        _FROM,
        _UNTIL,
        Whole(
            "count_interval_days", gettext_lazy("Counted together every so many days."), "91", False, 91,
            low=1, high=1100,
        ),  # fmt: skip
        Whole(
            "exchange_window_days", gettext_lazy("Exchanged from so many days before expiry on."), "90",
            False, 90, high=1100,
        ),  # fmt: skip
        _COMPONENT,
        Whole("quantity", gettext_lazy("How many are agreed."), "2", low=1, high=9_999),
        Choice(
            "replacement", gettext_lazy("What follows on a use."), "bill_and_replace", False,
            str(Replacement.BILL_AND_REPLACE), words=tuple(Replacement.values),
        ),
    )  # fmt: skip

    def prepare(self) -> None:
        super().prepare()
        rows = Agreement.objects.all()
        self.held = {row.code: row for row in rows}
        self.spans: dict[tuple[int, int], list[tuple[date, date | None, str]]] = {}
        for row in rows:
            self._spans(row.site_id, row.supplier_id).append((row.valid_from, row.valid_until, row.code))
        self.terms: dict[str, tuple[Any, ...]] = {row.code: _terms_of(row) for row in rows}
        self.known = set(AgreementLine.objects.values_list("agreement__code", "component_id"))

    def check(self, row: Row) -> dict[str, Any] | None:
        site = self.site(row)
        supplier = self.supplier(row)
        component = self.item(row, supplier)
        self.in_order(row)
        if row.faults or site is None or supplier is None or component is None:
            return None
        terms = (
            site.id, supplier.pk, row["valid_from"], row["valid_until"], row["count_interval_days"],
            row["exchange_window_days"],
        )  # fmt: skip
        self._same_terms(row, terms)
        if row.faults:
            return None
        return {
            "_agreement": row["agreement"],
            "_site": site.id,
            "_terms": list(terms),
            "component_id": component.pk,
            "quantity": row["quantity"],
            "replacement": row["replacement"],
        }

    def key(self, values: dict[str, Any]) -> Hashable:
        return values["_agreement"], values["component_id"]

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        given = list(rows)
        wanted = {values["_agreement"]: values["_terms"] for values in given}
        held = {row.code: row for row in Agreement.objects.filter(code__in=wanted)}
        if any([*_terms_of(row)] != _days(wanted[code]) for code, row in held.items()):
            raise OutOfDate
        new = [
            Agreement(
                code=code, site_id=site, supplier_id=supplier, valid_from=begin, valid_until=end,
                count_interval_days=count, exchange_window_days=window,
            )
            for code, (site, supplier, begin, end, count, window) in wanted.items()
            if code not in held
        ]  # fmt: skip
        held |= {row.code: row for row in Agreement.objects.bulk_create(new, batch_size=BATCH)}
        AgreementLine.objects.bulk_create(
            [
                AgreementLine(
                    agreement=held[values["_agreement"]], component_id=values["component_id"],
                    quantity=values["quantity"], replacement=values["replacement"],
                )
                for values in given
            ],
            batch_size=BATCH,
        )  # fmt: skip
        changed = {values["_agreement"] for values in given}
        return moves((held[code].site_id, Moved("agreement", held[code].pk)) for code in sorted(changed))

    def _same_terms(self, row: Row, terms: tuple[Any, ...]) -> None:
        code = row["agreement"]
        if code not in self.terms:
            self._no_overlap(row, terms)
        if self.terms.setdefault(code, terms) != terms:
            row.fault(
                "agreement",
                _("Another row of this agreement, or the one on file, has other terms."),
                _("Site, supplier, days, interval and window are the same on each of its rows."),
            )

    def _no_overlap(self, row: Row, terms: tuple[Any, ...]) -> None:
        site_id, supplier_id, begin, end, *_rest = terms
        spans = self._spans(site_id, supplier_id)
        for other_begin, other_end, code in spans:
            if (other_end is None or begin <= other_end) and (end is None or other_begin <= end):
                row.fault(
                    "valid_from",
                    _("Agreement %(code)s with this supplier is in force at the same time.") % {"code": code},
                    _("End it first, or let this one begin later."),
                )
                return
        spans.append((begin, end, row["agreement"]))

    def _spans(self, site_id: int, supplier_id: int) -> list[tuple[date, date | None, str]]:
        return self.spans.setdefault((site_id, supplier_id), [])


def _terms_of(row: Agreement) -> tuple[Any, ...]:
    return (
        row.site_id, row.supplier_id, row.valid_from, row.valid_until, row.count_interval_days,
        row.exchange_window_days,
    )  # fmt: skip


def _days(terms: Sequence[Any]) -> list[Any]:
    """Staged terms with their days read back."""
    return [date.fromisoformat(value) if isinstance(value, str) else value for value in terms]


class Prices(ModelKind, OfSuppliers):
    """What one of an item costs from a day on: under an agreement, or by the supplier's list."""

    code = "prices"
    title = gettext_lazy("Prices")
    about = gettext_lazy("Prices with dates. An agreement's price goes before the supplier's list.")
    house = False
    acts = ("import_files", "keep_agreements")
    model = Price
    subject = "price"
    key_column = "component"
    columns = (
        Code("agreement", gettext_lazy("Under which agreement; empty: the list."), "CA-2026-01", False, ""),
        _SUPPLIER,
        _COMPONENT,
        Money("price", gettext_lazy("Price of one."), "412.50"),
        CURRENCY,
        _FROM,
        _UNTIL,
    )

    def prepare(self) -> None:
        super().prepare()
        self.agreements = Agreement.objects.in_bulk(field_name="code")
        rows = Price.objects.values_list("agreement_id", "supplier_id", "component_id", "valid_from")
        self.known = {_price_key(*row) for row in rows}

    def check(self, row: Row) -> dict[str, Any] | None:
        supplier = self.supplier(row)
        component = self.item(row, supplier)
        agreement = row.find("agreement", self.agreements)
        self.in_order(row)
        currency = self.currency(row)
        self._allowed(row, agreement)
        if agreement is not None and supplier is not None and agreement.supplier_id != supplier.pk:
            row.fault(
                "agreement",
                _("This agreement is not with %(who)s.") % {"who": supplier},
                _("Correct the agreement or the supplier."),
            )
        if row.faults or supplier is None or component is None:
            return None
        return {
            "agreement_id": agreement.pk if agreement else None,
            "supplier_id": supplier.pk,
            "component_id": component.pk,
            "price": row["price"],
            "currency": currency,
            "valid_from": row["valid_from"],
            "valid_until": row["valid_until"],
            "_site": agreement.site_id if agreement else None,
        }

    def key(self, values: dict[str, Any]) -> Hashable:
        return _price_key(
            values["agreement_id"], values["supplier_id"], values["component_id"], values["valid_from"]
        )

    def _allowed(self, row: Row, agreement: Agreement | None) -> None:
        if agreement is not None:
            self.site_allowed(row, agreement.site_id, "agreement")
        elif not row["agreement"] and self.allowed is not None:
            row.fault(
                "agreement",
                _("A supplier's list is for all sites: the system's keeper imports it."),
                _("Name the agreement, or hand the row to the keeper."),
            )


def _price_key(agreement: int | None, supplier: int, component: int, day: date | str) -> Hashable:
    begins = day if isinstance(day, date) else date.fromisoformat(day)
    return ("a", agreement, component, begins) if agreement else ("s", supplier, component, begins)
