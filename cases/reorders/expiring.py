"""What is done with units that will expire unused: exchanged with their supplier, in one act."""

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.reorders.services import draft_each, lock_site, orders_once
from trays.ledger.append import record
from trays.orders.drafting import OrderWish
from trays.orders.models import Order, OrderKind
from trays.parties.models import Site
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock.models import Unit
from trays.stock.models_apart import ReturnWhy
from trays.stock.returning import return_within
from trays.web.errors import Refusal


def units_exchange(
    *, by: Person, site: Site, units: Collection[Unit], at: datetime, client_key: UUID | None = None
) -> list[Order]:
    """Set units apart for their supplier, and draft an exchange: fresh ones to come, nothing to pay.

    One return and one order for each supplier. Raises Refusal "nothing-chosen", "not-at-this-site", and what
    `returning.return_within` and `drafting.draft_within` raise; NotAllowed.
    """
    require(by=by, act="draft_order", site_id=site.pk)
    require(by=by, act="move_stock", site_id=site.pk)
    if not units:
        raise Refusal("nothing-chosen", _("No unit is chosen."), _("Choose what is to be exchanged."))
    if any(unit.site_id != site.pk for unit in units):
        raise Refusal(
            "not-at-this-site", _("One of these units is at another site."), _("Load the page again.")
        )

    def work() -> list[Order]:
        lock_site(site)
        lines = []
        for supplier in sorted({unit.component.supplier_id for unit in units}):
            own = [unit for unit in units if unit.component.supplier_id == supplier]
            _back, said = return_within(by=by, units=own, why=ReturnWhy.EXCHANGE, at=at)
            lines += said
        wishes = [
            OrderWish(
                unit.component,
                unit.component.order_multiple,
                cause=f"exchange:{unit.pk}",
                lot=unit.lot,
                serial=unit.serial,
            )
            for unit in sorted(units, key=lambda unit: unit.pk)
        ]
        orders, drafted = draft_each(by=by, site=site, wishes=wishes, kind=OrderKind.EXCHANGE, at=at)
        record(
            chain=site.code, verb="expiry.exchange", by=by, at=at, client_key=client_key,
            answer={"orders": [order.pk for order in orders]}, lines=[*lines, *drafted],
        )  # fmt: skip
        return orders

    return orders_once("expiry.exchange", by, client_key, work)
