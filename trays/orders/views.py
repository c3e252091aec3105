"""The pages of orders: the list of a site, one order, its papers, the limits of approval."""

from datetime import datetime
from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import lazy
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from trays.orders import queries
from trays.orders.documents import paper_of
from trays.orders.forms import (
    WHICH,
    AddForm,
    ApproveForm,
    ConfirmForm,
    DraftForm,
    EndForm,
    LimitsForm,
    LineForm,
    ListFilter,
    SendForm,
    cancels,
)
from trays.orders.limits import check_limit, limits_set, roles_that_approve
from trays.orders.models import Order, OrderLimit, OrderState, PaperFormat
from trays.orders.services import OrderWish, order_draft
from trays.orders.showing import ShownLine, differences, shown_arrivals, shown_lines, steps
from trays.orders.tables import OrderTable, order_rows
from trays.orders.words import list_says, money, order_says
from trays.parties.queries import site_day
from trays.places.choose import SiteChoice, site_choice
from trays.processing.pages import person_of
from trays.staff.access import fetch, may
from trays.staff.models import Person
from trays.web.acting import done, new_key, status_of
from trays.web.errors import NotThere, Refusal
from trays.web.page import answer_page
from trays.web.table import answer_table

TYPES = {
    PaperFormat.PDF: "application/pdf",
    PaperFormat.CSV: "text/csv; charset=utf-8",
    PaperFormat.UBL: "application/xml; charset=utf-8",
}


@require_safe
def orders(request: HttpRequest) -> HttpResponse:
    """A site's orders, what waits and what is late."""
    return _list_page(request, site_choice(request, act="see_orders", by=person_of(request)))


@require_POST
def order_new(request: HttpRequest) -> HttpResponse:
    """Draft an order by hand, or add to the open draft of the item's supplier."""
    by = person_of(request)
    choice = site_choice(request, act="draft_order", by=by)
    form = DraftForm(request.POST)
    made: list[Order] = []

    def act() -> None:
        given = form.cleaned_data
        component = form.component()
        into = queries.open_draft(
            site_id=choice.site.pk, supplier_id=component.supplier_id, kind=given["kind"],
            currency=component.currency,
        )  # fmt: skip
        if into is not None and given["needed_by"] not in (None, into.needed_by):
            into = None
        order = order_draft(
            by=by, site=choice.site, supplier=component.supplier, kind=given["kind"], at=timezone.now(),
            lines=[OrderWish(component, given["quantity"])], client_key=given["client_key"], into=into,
            needed_by=given["needed_by"],
        )  # fmt: skip
        made.append(order)
        messages.success(request, _("%(item)s is on %(order)s.") % {"item": component.name, "order": order})

    # Which order it is on is known only when the act is done.
    to = lazy(lambda: reverse("order", args=[made[0].pk]), str)()
    return done(request, form, act, lambda: _list_page(request, choice, form), to)


def _list_page(request: HttpRequest, choice: SiteChoice, form: DraftForm | None = None) -> HttpResponse:
    site, at = choice.site, timezone.now()
    day = site_day(site, at)
    chosen = ListFilter(request.GET)
    which = chosen.chosen.get("which", "")
    opened = queries.site_orders(site_id=site.pk, states=Order.OPEN)
    shown = (
        queries.site_orders(site_id=site.pk, states=Order.ENDED)
        if which == "ended"
        else [order for order in opened if _chosen(order, which, day)]
    )
    context = {
        "site": site,
        "sites": choice.links,
        "at": at,
        "says": list_says(opened, day),
        "which": chosen.links("which", [(value, str(label)) for value, label in WHICH]),
        "may_draft": may(by=person_of(request), act="draft_order", site_id=site.pk),
        "may_limit": may(by=person_of(request), act="set_stock_policy", site_id=site.pk),
        "form": form or DraftForm(initial=new_key()),
    }
    table = OrderTable(order_rows(shown, day=day))
    return answer_table(
        request, table, "trays/orders/orders.html", context, file_name=f"orders-{site.code}",
        status=status_of({"draft": form} if form else {}),
    )  # fmt: skip


def _chosen(order: Order, which: str, day: Any) -> bool:
    if which == "late":
        return queries.is_late(order, day)
    return not which or order.state in (Order.OUT if which == "out" else (which,))


@require_safe
def order(request: HttpRequest, pk: int) -> HttpResponse:
    """One order: what it says, where it stands, and the next act."""
    return order_page(request, order_of(request, pk))


@require_safe
def order_paper(request: HttpRequest, pk: int, form: str) -> HttpResponse:
    """A paper of an approved order: as it was sent, or as it will be."""
    row = order_of(request, pk)
    if form not in PaperFormat.values:
        raise NotThere("no-such-paper", _("There is no such paper."), _("Choose PDF, CSV or XML."))
    answer = HttpResponse(paper_of(row, form), content_type=TYPES[PaperFormat(form)])
    answer["Content-Disposition"] = f'attachment; filename="{row.number}.{form}"'
    answer["Cache-Control"] = "no-store"
    return answer


def order_of(request: HttpRequest, pk: int, act: str = "see_orders") -> Order:
    """The order, for those who may do the act at its site."""
    return cast(Order, fetch(queries.whole_orders(), by=person_of(request), act=act, pk=pk))


def order_page(request: HttpRequest, row: Order, **given: forms.Form) -> HttpResponse:
    """The page of an order, with a form again that was not in order."""
    by, at, site_id = person_of(request), timezone.now(), row.site_id
    day = site_day(row.site, at)
    context: dict[str, Any] = {
        "order": row,
        "at": at,
        "says": order_says(row, day),
        "money": money(row),
        "lines": _lines(row, given.get("line")),
        "faulty": list(given.values()),
        "steps": steps(row),
        "deliveries": [(one, shown_arrivals(one)) for one in row.deliveries.all()],
        "differences": differences(list(row.deliveries.all())),
        "drafting": row.state == OrderState.DRAFT and may(by=by, act="draft_order", site_id=site_id),
        "may_send": may(by=by, act="send_order", site_id=site_id),
        "may_receive": may(by=by, act="receive_stock", site_id=site_id),
        "out": row.state in Order.OUT,
        "late": queries.is_late(row, day),
        "all_here": row.brings and not any(queries.outstanding(line) for line in row.lines.all()),
        **_forms(row, given, by, at),
    }
    return answer_page(request, "trays/orders/order.html", context, status=status_of(given))


def _lines(row: Order, given: forms.Form | None) -> list[tuple[ShownLine, LineForm]]:
    """Each line with the form that changes it; the one that was not in order stands as it was typed."""
    typed = {given.line_id: given} if isinstance(given, LineForm) else {}
    return [(one, typed.get(one.line.pk) or LineForm.of(one.line, one.each)) for one in shown_lines(row)]


def _forms(row: Order, given: dict[str, forms.Form], by: Person, at: datetime) -> dict[str, Any]:
    """The forms that this state of the order asks for, and why one of them must wait."""
    made: dict[str, Any] = {}
    if row.state == OrderState.DRAFT:
        made["add_form"] = given.get("add") or AddForm(initial=new_key())
        if may(by=by, act="approve_order", site_id=row.site_id):
            made["approve_form"] = given.get("approve") or ApproveForm(initial=new_key())
            made["approve_waits"] = _waits(row, by)
    if row.state == OrderState.APPROVED or row.state in Order.OUT:
        made["send_form"] = given.get("send") or SendForm(initial=new_key())
    waits = any(line.is_open for line in row.lines.all())
    if row.state in Order.OUT and waits:
        made["confirm_form"] = given.get("confirm") or confirm_form(row)
    if row.is_open and (waits or row.state not in Order.OUT) and _may_end(row, by):
        made["end_form"] = given.get("end") or EndForm(initial=new_key(), order=row)
        made["cancels"] = cancels(row)
    return made


def confirm_form(row: Order, data: Any = None) -> ConfirmForm:
    """The form for what the supplier says of the lines that are open."""
    lines = [line for line in row.lines.all() if line.is_open]
    initial = {**new_key(), "suppliers_number": row.suppliers_number}
    return ConfirmForm(data, lines=lines, brings=row.brings, due_on=row.due_on, initial=initial)


def _may_end(row: Order, by: Person) -> bool:
    act = "draft_order" if row.state == OrderState.DRAFT else "send_order"
    return may(by=by, act=act, site_id=row.site_id)


def _waits(row: Order, by: Person) -> str:
    """Why this person cannot approve it yet, in words; "" if they can."""
    lines = queries.live_lines(row)
    if not lines:
        return _("It has no lines.")
    without = next((line for line in lines if line.unit_price is None), None)
    if row.pays and without is not None:
        return _("Line %(number)s has no price yet.") % {"number": without.number}
    try:
        check_limit(by=by, order=row)
    except Refusal as refusal:
        return f"{refusal.sentence} {refusal.next_step}"
    return ""


@require_safe
def order_limits(request: HttpRequest) -> HttpResponse:
    """Up to how much each role may approve at a site."""
    return _limits_page(request, site_choice(request, act="see_orders", by=person_of(request)))


@require_POST
def order_limits_set(request: HttpRequest) -> HttpResponse:
    """Set them."""
    by = person_of(request)
    choice = site_choice(request, act="set_stock_policy", by=by)
    form = LimitsForm(request.POST, roles=roles_that_approve())

    def act() -> None:
        limits_set(
            by=by, site=choice.site, amounts=form.amounts(), at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip
        messages.success(request, _("The limits are kept."))

    to = f"{reverse('order-limits')}?site={choice.site.code}"
    return done(request, form, act, lambda: _limits_page(request, choice, form), to)


def _limits_page(request: HttpRequest, choice: SiteChoice, form: LimitsForm | None = None) -> HttpResponse:
    site, roles = choice.site, roles_that_approve()
    limits = {limit.role: limit for limit in OrderLimit.objects.filter(site=site)}
    initial = new_key()
    for role, limit in limits.items():
        initial[f"amount_{role}"], initial[f"any_{role}"] = limit.amount, limit.amount is None
    shown = form or LimitsForm(initial=initial, roles=roles)
    context = {
        "site": site,
        "sites": choice.links,
        "set": bool(limits),
        "may_set": may(by=person_of(request), act="set_stock_policy", site_id=site.pk),
        "form": shown,
        "rows": [(role, limits.get(role), fields) for role, fields in zip(roles, shown.rows(), strict=True)],
    }
    status = status_of({"limits": form} if form else {})
    return answer_page(request, "trays/orders/limits.html", context, status=status)
