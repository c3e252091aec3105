"""What a site has decided about its stock: read, and set."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.utils.translation import gettext as _

from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.parties.models import Site
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock.models_policy import StockPolicy
from trays.web.errors import Refusal


@dataclass(frozen=True, slots=True)
class Limits:
    """The values of a policy."""

    adjustment_limit: Decimal
    short_dated_days: int
    warning_days: int


def policy_of(site_id: int) -> StockPolicy:
    """The site's policy; one with the usual values, not saved, where it has set none (one query)."""
    return StockPolicy.objects.filter(site_id=site_id).first() or StockPolicy(site_id=site_id)


def stock_policy_set(
    *, by: Person, site: Site, limits: Limits, at: datetime, client_key: UUID | None = None
) -> StockPolicy:
    """Set a site's limits for its stock. Raises Refusal "limits-out-of-order"; NotAllowed."""
    require(by=by, act="set_stock_policy", site_id=site.pk)
    if not 0 <= limits.short_dated_days <= limits.warning_days <= 2_000 or limits.adjustment_limit < 0:
        raise Refusal(
            "limits-out-of-order",
            _("The warning comes no later than the day from which a thing is short-dated."),
            _("Put the numbers right."),
        )

    def work() -> StockPolicy:
        row, _made = StockPolicy.objects.select_for_update().get_or_create(site=site)
        row.adjustment_limit = limits.adjustment_limit
        row.short_dated_days = limits.short_dated_days
        row.warning_days = limits.warning_days
        row.save()
        record(
            chain=site.code, verb="stock_policy.set", by=by, at=at, client_key=client_key,
            answer={"policy": row.pk}, lines=[Line("stock_policy", row.pk)],
        )  # fmt: skip
        return row

    return act_once(
        verb="stock_policy.set", by=by, client_key=client_key, work=work,
        replay=lambda answer: StockPolicy.objects.get(pk=answer["policy"]),
    )  # fmt: skip
