"""Files of what suppliers can lend."""

from collections.abc import Hashable, Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.exchange.columns import Code, Day, Money, Text, Whole
from trays.exchange.kinds import BATCH, ModelKind, Moved, Moves, Row, moves
from trays.instruments.models import SetDesign
from trays.loans.importing import CURRENCY, OfSuppliers
from trays.loans.models_agreements import LoanOffer, LoanOfferSet, LoanOfferUnit


class LoanOffers(ModelKind, OfSuppliers):
    """One offer a row."""

    code = "loan-offers"
    title = gettext_lazy("Loan offers")
    about = gettext_lazy(
        "What suppliers can lend, for which fee, how soon. What is in it has a file of its own."
    )
    model = LoanOffer
    subject = "loan_offer"
    columns = (
        Code("code", gettext_lazy("How other files name it."), "mf-knee-con"),
        Text("name", gettext_lazy("Its name."), "Knee, more constrained"),
        Code("supplier", gettext_lazy("Who lends it."), "merrowfield"),
        Money("fee", gettext_lazy("What one loan of it costs."), "320.00"),
        CURRENCY,
        Whole("lead_working_days", gettext_lazy("Working days from asking to delivery."), "2", high=120),
        Whole(
            "most_at_once", gettext_lazy("How many are lent at the same time."), "1", False, 1, low=1, high=99
        ),
        Day("valid_from", gettext_lazy("From which day on."), "2026-01-01"),
        Day("valid_until", gettext_lazy("Up to and with this day; empty: without an end."), "", False),
    )

    def prepare(self) -> None:
        super().prepare()
        self.known = set(LoanOffer.objects.values_list("code", flat=True))

    def check(self, row: Row) -> dict[str, Any] | None:
        supplier = self.supplier(row)
        self.in_order(row)
        currency = self.currency(row)
        if row.faults or supplier is None:
            return None
        given = {name: value for name, value in row.values.items() if name != "supplier"}
        return {**given, "supplier_id": supplier.pk, "currency": currency}

    def key(self, values: dict[str, Any]) -> str:
        return str(values["code"])


class LoanOfferContents(ModelKind, OfSuppliers):
    """One thing of one offer a row: sets of a design, or sealed units of an item."""

    code = "loan-offer-contents"
    title = gettext_lazy("Contents of loan offers")
    about = gettext_lazy(
        "The sets and sealed units that come with an offer. What is in a set is its design's contents list."
    )
    model = LoanOfferSet
    subject = "loan_offer"
    key_column = "design"
    columns = (
        Code("offer", gettext_lazy("The offer."), "mf-knee-con"),
        Code("design", gettext_lazy("The set's design; or, instead,"), "kn-gen", False, ""),
        Code("component", gettext_lazy("the sealed item, by its code or GTIN."), "", False, ""),
        Whole("quantity", gettext_lazy("How many."), "1", False, 1, low=1, high=999),
    )

    def prepare(self) -> None:
        super().prepare()
        self.offers = LoanOffer.objects.select_related("supplier").in_bulk(field_name="code")
        self.designs = SetDesign.objects.in_bulk(field_name="code")
        sets = LoanOfferSet.objects.values_list("offer_id", "design_id")
        units = LoanOfferUnit.objects.values_list("offer_id", "component_id")
        self.known = {(*row, "set") for row in sets} | {(*row, "unit") for row in units}

    def check(self, row: Row) -> dict[str, Any] | None:
        offer = row.find("offer", self.offers)
        design = row.find("design", self.designs)
        component = self.item(row, offer.supplier if offer else None) if row["component"] else None
        if bool(row["design"]) == bool(row["component"]):
            row.fault(
                "design",
                _("A row is either a set or a sealed item."),
                _("Fill in exactly one of the two columns."),
            )
        if row.faults or offer is None:
            return None
        return {
            "offer_id": offer.pk,
            "design_id": design.pk if design else None,
            "component_id": component.pk if component else None,
            "quantity": row["quantity"],
        }

    def key(self, values: dict[str, Any]) -> Hashable:
        if values["design_id"] is not None:
            return values["offer_id"], values["design_id"], "set"
        return values["offer_id"], values["component_id"], "unit"

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        given = list(rows)
        LoanOfferSet.objects.bulk_create(
            [
                LoanOfferSet(offer_id=one["offer_id"], design_id=one["design_id"], quantity=one["quantity"])
                for one in given
                if one["design_id"] is not None
            ],
            batch_size=BATCH,
        )
        LoanOfferUnit.objects.bulk_create(
            [
                LoanOfferUnit(
                    offer_id=one["offer_id"], component_id=one["component_id"], quantity=one["quantity"]
                )
                for one in given
                if one["component_id"] is not None
            ],
            batch_size=BATCH,
        )
        return moves((None, Moved(self.subject, pk)) for pk in sorted({one["offer_id"] for one in given}))
