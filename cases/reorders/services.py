"""What is done with an alert: ordered, set aside for a reason, taken up again; and what a budget buys."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import connection
from django.utils.translation import gettext as _

from cases.readiness.on_the_way import coming_to
from cases.reorders.alerts import AlertRow, alerts
from cases.reorders.models import SetAside, SetAsideReason
from trays.catalogue.models import Component
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.loans.queries_agreements import Priced, prices_on
from trays.orders.drafting import OrderWish, cause_clash, draft_within
from trays.orders.models import Order, OrderKind
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal


@dataclass(frozen=True, slots=True)
class Wanted:
    """One alert as the person saw it: its component, and how many were to be ordered."""

    component_id: int
    pieces: int


@dataclass(frozen=True, slots=True)
class Bought:
    """What a budget buys of one component, and what was on order of it when that was worked out."""

    component_id: int
    pieces: int
    on_order: int


def alerts_order(
    *, by: Person, site: Site, wanted: Collection[Wanted], at: datetime, client_key: UUID | None = None
) -> list[Order]:
    """Draft orders for alerts as they stand: one for each supplier and currency, a line for each alert.

    Raises Refusal "nothing-chosen", "facts-changed" (an alert no longer asks for so many),
    "cause-ordered-already"; NotAllowed.
    """
    require(by=by, act="draft_order", site_id=site.pk)
    if not wanted:
        raise Refusal("nothing-chosen", _("Nothing is chosen to be ordered."), _("Choose an alert."))

    def work() -> list[Order]:
        lock_site(site)
        rows = {row.component.pk: row for row in alerts(site=site, at=at).rows}
        chosen = [_as_seen(rows, one) for one in wanted]
        ids = [row.component.pk for row in chosen]
        prices = prices_on(site_id=site.pk, day=site_day(site, at), component_ids=ids)
        wishes = [wish(row.component, row.suggested, row.cause, prices) for row in chosen]
        orders, lines = draft_each(by=by, site=site, wishes=wishes, kind=OrderKind.STOCK, at=at)
        record(
            chain=site.code, verb="reorder.order", by=by, at=at, client_key=client_key,
            answer={"orders": [order.pk for order in orders]}, lines=lines,
        )  # fmt: skip
        return orders

    return orders_once("reorder.order", by, client_key, work)


def budget_order(
    *, by: Person, site: Site, buys: Sequence[Bought], at: datetime, client_key: UUID | None = None
) -> list[Order]:
    """Draft orders for what a budget buys (`best_buys`), if nothing has been ordered since it was chosen.

    Raises Refusal "nothing-chosen", "facts-changed"; NotAllowed.
    """
    require(by=by, act="draft_order", site_id=site.pk)
    if not buys:
        raise Refusal("nothing-chosen", _("This amount buys nothing that helps."), _("Give a larger one."))

    def work() -> list[Order]:
        lock_site(site)
        day = site_day(site, at)
        components = Component.objects.select_related("supplier").in_bulk([buy.component_id for buy in buys])
        coming = coming_to(site=site, day=day)
        for buy in buys:
            if sum(one.pieces for one in coming.get(buy.component_id, ())) != buy.on_order:
                raise _facts_changed(_component(components, buy.component_id))
        prices = prices_on(site_id=site.pk, day=day, component_ids=list(components))
        wishes = [
            wish(
                _component(components, buy.component_id),
                buy.pieces,
                f"budget:{site.pk}:{buy.component_id}:{day}:{buy.on_order}",
                prices,
            )
            for buy in buys
        ]
        orders, lines = draft_each(by=by, site=site, wishes=wishes, kind=OrderKind.STOCK, at=at)
        record(
            chain=site.code, verb="reorder.budget", by=by, at=at, client_key=client_key,
            answer={"orders": [order.pk for order in orders]}, lines=lines,
        )  # fmt: skip
        return orders

    return orders_once("reorder.budget", by, client_key, work)


def alert_set_aside(
    *,
    by: Person,
    site: Site,
    component: Component,
    reason: str,
    note: str = "",
    digest: str,
    at: datetime,
    client_key: UUID | None = None,
) -> SetAside:
    """Set an alert aside for a reason. It comes back once its facts are others than `digest` stands for.

    Raises Refusal "no-reason", "no-such-alert", "facts-changed", "set-aside-already"; NotAllowed.
    """
    require(by=by, act="draft_order", site_id=site.pk)
    if reason not in SetAsideReason.values or (reason == SetAsideReason.OTHER and not note.strip()):
        raise Refusal(
            "no-reason",
            _("An alert is set aside for a reason only."),
            _("Choose one; with another reason, say which."),
            field="reason",
        )

    def work() -> SetAside:
        lock_site(site)
        rows = {row.component.pk: row for row in alerts(site=site, at=at).rows}
        row = rows.get(component.pk)
        if row is None:
            raise _no_such_alert(component)
        if row.digest != digest:
            raise _facts_changed(component)
        open_rows = SetAside.objects.filter(site=site, component=component, ended_at__isnull=True)
        if open_rows.filter(digest=digest).exists():
            raise Refusal(
                "set-aside-already",
                _("This alert is set aside already."),
                _("Look among those set aside; take it up there."),
            )
        # The one before was about other facts.
        open_rows.update(ended_at=at)
        made = SetAside.objects.create(
            site=site, component=component, reason=reason, note=note.strip()[:200], digest=digest,
            wanted=row.wanted, usable=row.usable, on_order=row.on_order, by=by, at=at,
        )  # fmt: skip
        record(
            chain=site.code, verb="reorder.set-aside", by=by, at=at, reason=reason, client_key=client_key,
            answer={"set_aside": made.pk}, lines=[Line("set_aside", made.pk, "", "open")],
        )  # fmt: skip
        return made

    return _aside_once("reorder.set-aside", by, client_key, work)


def alert_take_up(
    *, by: Person, set_aside: SetAside, at: datetime, client_key: UUID | None = None
) -> SetAside:
    """Take an alert up again that was set aside. Raises Refusal "taken-up-already"; NotAllowed."""
    require(by=by, act="draft_order", site_id=set_aside.site_id)

    def work() -> SetAside:
        row = SetAside.objects.select_for_update().get(pk=set_aside.pk)
        if row.ended_at is not None:
            raise Refusal("taken-up-already", _("It was taken up already."), _("Look at the list of alerts."))
        row.ended_at = at
        row.save(update_fields=["ended_at"])
        record(
            chain=set_aside.site.code, verb="reorder.take-up", by=by, at=at, client_key=client_key,
            answer={"set_aside": row.pk}, lines=[Line("set_aside", row.pk, "open", "ended")],
        )  # fmt: skip
        return row

    return _aside_once("reorder.take-up", by, client_key, work)


def lock_site(site: Site) -> None:
    """One at a time orders for a site: who comes second sees what the first has ordered.

    Call it first in the transaction of the act.
    """
    no_key = connection.features.has_select_for_no_key_update
    list(Site.objects.select_for_update(no_key=no_key).filter(pk=site.pk).values_list("pk"))


def wish(component: Component, pieces: int, cause: str, prices: Mapping[int, Priced]) -> OrderWish:
    """What is to be ordered, at the price in force at the site; without one the line has none yet."""
    worth = prices.get(component.pk)
    if worth is None:
        return OrderWish(component, pieces, cause=cause)
    return OrderWish(component, pieces, cause=cause, price=worth.price, currency=worth.currency)


def draft_each(
    *, by: Person, site: Site, wishes: Iterable[OrderWish], kind: str, at: datetime
) -> tuple[list[Order], list[Line]]:
    """A draft for each supplier and currency, within the transaction of the act; and the event's lines."""
    by_supplier: dict[tuple[str, str], list[OrderWish]] = {}
    for wish in wishes:
        currency = wish.currency or wish.component.currency
        by_supplier.setdefault((wish.component.supplier.code, currency), []).append(wish)
    orders, lines = [], []
    for _key, own in sorted(by_supplier.items()):
        order, said = draft_within(
            by=by, site=site, supplier=own[0].component.supplier, kind=kind, lines=own, at=at
        )
        orders.append(order)
        lines += said
    return orders, lines


def _as_seen(rows: Mapping[int, AlertRow], one: Wanted) -> AlertRow:
    row = rows.get(one.component_id)
    if row is None:
        raise _no_such_alert(Component.objects.filter(pk=one.component_id).first())
    if row.suggested != one.pieces:
        raise _facts_changed(row.component)
    return row


def _component(components: Mapping[int, Component], pk: int) -> Component:
    found = components.get(pk)
    if found is None:
        raise _no_such_alert(None)
    return found


def _no_such_alert(component: Component | None) -> Refusal:
    return Refusal(
        "no-such-alert",
        _("%(item)s needs no order now: it was ordered, or the cases have changed.")
        % {"item": component.name if component else _("This item")},
        _("Look at the list anew."),
    )


def _facts_changed(component: Component) -> Refusal:
    return Refusal(
        "facts-changed",
        _("What is asked for of %(item)s has changed since you looked.") % {"item": component.name},
        _("Look at the line as it stands now, then choose again."),
    )


def orders_once(
    verb: str, by: Person, client_key: UUID | None, work: Callable[[], list[Order]]
) -> list[Order]:
    """An act that drafts orders, done once; two at one cause are told so."""
    return act_once(
        verb=verb,
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: list(Order.objects.filter(pk__in=answer["orders"]).order_by("pk")),
        clash_said=cause_clash,
    )


def _aside_once(verb: str, by: Person, client_key: UUID | None, work: Callable[[], SetAside]) -> SetAside:
    return act_once(
        verb=verb,
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: SetAside.objects.get(pk=answer["set_aside"]),
    )
