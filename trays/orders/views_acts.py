"""The acts on one order: each a form, one service, and back to the order's page."""

from collections.abc import Callable
from typing import Any, cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from trays.orders.documents import papers_of
from trays.orders.forms import AddForm, ApproveForm, EndForm, LineForm, SendForm, cancels
from trays.orders.models import Order, OrderLine
from trays.orders.services import (
    OrderWish,
    line_change,
    line_take_off,
    order_approve,
    order_cancel,
    order_close,
    order_confirm,
    order_draft,
    order_send,
)
from trays.orders.views import confirm_form, order_of, order_page
from trays.processing.pages import person_of
from trays.staff.access import fetch, require
from trays.staff.signing import signer
from trays.web.acting import done, key_of
from trays.web.page import go_to


@require_POST
def order_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a line to a draft."""
    row = order_of(request, pk, "draft_order")
    form = AddForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        order_draft(
            by=person_of(request), site=row.site, supplier=row.supplier, kind=row.kind, into=row,
            lines=[OrderWish(form.component(), given["quantity"])], at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip

    return _done(request, row, form, act, "add")


@require_POST
def line_of(request: HttpRequest, pk: int) -> HttpResponse:
    """Put another quantity or price on a line of a draft."""
    line = _line(request, pk)
    row = order_of(request, line.order_id, "draft_order")
    form = LineForm(request.POST, line_id=line.pk)

    def act() -> None:
        given = form.cleaned_data
        line_change(
            by=person_of(request), line=line, quantity=given["quantity"], price=given["price"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return _done(request, row, form, act, "line")


@require_POST
def line_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a line off a draft."""
    line = _line(request, pk)
    line_take_off(by=person_of(request), line=line, at=timezone.now(), client_key=key_of(request))
    messages.success(request, _("Line %(number)s was taken off.") % {"number": line.number})
    return go_to(request, "order", line.order_id)


@require_POST
def approve(request: HttpRequest, pk: int) -> HttpResponse:
    """Approve a draft, signed."""
    row = order_of(request, pk)
    require(by=person_of(request), act="approve_order", site_id=row.site_id)
    form = ApproveForm(request.POST)

    def act() -> None:
        by = signer(person=person_of(request), pin=form.cleaned_data["pin"])
        order_approve(by=by, order=row, at=timezone.now(), client_key=form.cleaned_data["client_key"])

    return _done(request, row, form, act, "approve")


@require_POST
def send(request: HttpRequest, pk: int) -> HttpResponse:
    """Take down that the order went out, and how; its papers are kept as they are now."""
    row = order_of(request, pk)
    require(by=person_of(request), act="send_order", site_id=row.site_id)
    form = SendForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        order_send(
            by=person_of(request), order=row, way=given["way"], papers=papers_of(row), at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip

    return _done(request, row, form, act, "send")


@require_POST
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """Take down what the supplier confirmed."""
    row = order_of(request, pk)
    require(by=person_of(request), act="send_order", site_id=row.site_id)
    form = confirm_form(row, request.POST)

    def act() -> None:
        given = form.cleaned_data
        order_confirm(
            by=person_of(request), order=row, answers=form.answers(), at=timezone.now(),
            suppliers_number=given["suppliers_number"], client_key=given["client_key"],
        )  # fmt: skip

    return _done(request, row, form, act, "confirm")


@require_POST
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """Cancel or close an order, with its reason."""
    row = order_of(request, pk)
    require(by=person_of(request), act="draft_order", site_id=row.site_id)
    form = EndForm(request.POST, order=row)

    def act() -> None:
        given = form.cleaned_data
        service = order_cancel if cancels(row) else order_close
        service(
            by=person_of(request), order=row, reason=given["reason"], note=given["note"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return _done(request, row, form, act, "end")


def _done(request: HttpRequest, row: Order, form: Any, act: Callable[[], object], name: str) -> HttpResponse:
    return done(request, form, act, lambda: order_page(request, row, **{name: form}), "order", row.pk)


def _line(request: HttpRequest, pk: int) -> OrderLine:
    rows = OrderLine.objects.select_related("order__site", "component")
    return cast(
        OrderLine, fetch(rows, by=person_of(request), act="draft_order", site="order__site_id", pk=pk)
    )
