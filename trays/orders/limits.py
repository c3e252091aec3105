"""Up to how much each role may approve at a site."""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.utils.translation import gettext as _

from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.orders.models import Order, OrderLimit
from trays.orders.money import plain
from trays.orders.queries import total_of
from trays.parties.models import Site
from trays.staff.access import ACTS, require
from trays.staff.models import Person, RoleKind
from trays.web.errors import Refusal

MOST = Decimal("999999999")


def roles_that_approve() -> list[RoleKind]:
    """The roles whose work includes approving, in the order of the list of roles."""
    return [role for role in RoleKind if role in ACTS["approve_order"]]


def check_limit(*, by: Person, order: Order) -> None:
    """Refuse, with code "above-limit", an order that is more than the person's roles may approve.

    A site that has set no limit leaves it to the roles alone. A limit in another currency says nothing.
    """
    limits = list(OrderLimit.objects.filter(site_id=order.site_id))
    if not limits:
        return
    total = total_of(order)
    enough = {
        limit.role
        for limit in limits
        if limit.amount is None or (limit.currency == order.currency and limit.amount >= total)
    }
    own = set(by.roles.filter(site_id=order.site_id).values_list("kind", flat=True))
    if own & enough & set(ACTS["approve_order"]):
        return
    names = [str(role.label) for role in roles_that_approve() if role in enough]
    raise Refusal(
        "above-limit",
        _("%(order)s comes to %(total)s %(currency)s; your role may not approve that much here.")
        % {"order": order.number, "total": plain(total), "currency": order.currency},
        _("Who may: %(roles)s.") % {"roles": ", ".join(names)}
        if names
        else _("No role may: have the limits changed, or split the order."),
    )


def limits_set(
    *,
    by: Person,
    site: Site,
    amounts: Mapping[str, Decimal | None],
    at: datetime,
    client_key: UUID | None = None,
) -> Site:
    """Set the limits of a site: by role an amount, None = any; a role that is left out may approve nothing.

    No amounts at all = the site sets no limits. Raises Refusal "limit-nonsense", "not-a-role"; NotAllowed.
    """
    require(by=by, act="set_stock_policy", site_id=site.pk)
    known = set(ACTS["approve_order"])
    for role, amount in amounts.items():
        if role not in known:
            raise Refusal("not-a-role", _("This role approves no orders."), _("Choose another role."))
        if amount is not None and not (amount.is_finite() and 0 <= amount <= MOST):
            raise Refusal("limit-nonsense", _("This is no amount."), _("Put it right, or leave it empty."))

    def work() -> Site:
        row = Site.objects.select_for_update().get(pk=site.pk)
        before = {limit.role: limit for limit in OrderLimit.objects.filter(site=row)}
        said = [Line("site", row.pk, "", "order-limits")]
        for role in sorted(set(before) - set(amounts)):
            said.append(Line("order_limit", before[role].pk, _said(before[role].amount), "none"))
            before[role].delete()
        for role, amount in sorted(amounts.items()):
            made, _new = OrderLimit.objects.update_or_create(
                site=row, role=role, defaults={"amount": amount, "currency": row.currency}
            )
            was = _said(before[role].amount) if role in before else "none"
            said.append(Line("order_limit", made.pk, was, _said(amount)))
        record(
            chain=row.code, verb="order.limits", by=by, at=at, client_key=client_key,
            answer={"site": row.pk}, lines=said,
        )  # fmt: skip
        return row

    return act_once(
        verb="order.limits",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Site.objects.get(pk=answer["site"]),
    )


def _said(amount: Decimal | None) -> str:
    return "any" if amount is None else plain(amount)
