"""The page where a delivery of an order comes in: box after box by scan, or by hand from the label."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from trays.orders.deliveries import (
    Label,
    delivery_begin,
    delivery_close,
    delivery_receive,
    delivery_take_back,
    tenure_of,
)
from trays.orders.forms import BeginForm, HandForm
from trays.orders.models import Delivery, Order
from trays.orders.queries import outstanding
from trays.orders.showing import shown_arrivals, shown_lines
from trays.orders.views import order_of
from trays.orders.words import order_says
from trays.parties.queries import site_day
from trays.processing.pages import person_of
from trays.web.acting import KeyForm, done, new_key, status_of
from trays.web.errors import Refusal
from trays.web.page import answer_page

ACT = "receive_stock"
# What a scan that needs a decision hands over to the form: see `asked_address` in the scan's own page.
HANDED = ("item", "lot", "serial", "expires", "count")


@require_safe
def receive(request: HttpRequest, pk: int) -> HttpResponse:
    """What is expected, what has come, and the next box."""
    return _page(request, order_of(request, pk, ACT))


@require_POST
def receive_begin(request: HttpRequest, pk: int) -> HttpResponse:
    """Begin a delivery: where it is put down, and whose it is."""
    row = order_of(request, pk, ACT)
    form = BeginForm(request.POST, site=row.site)

    def act() -> None:
        given = form.cleaned_data
        delivery_begin(
            by=person_of(request), order=row, place=given["place"], tenure=given["tenure"],
            note_number=given["note_number"], at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, begin=form), "order-receive", row.pk)


@require_POST
def receive_hand(request: HttpRequest, pk: int) -> HttpResponse:
    """Take in what a person read from the label, in the condition in which it came."""
    row = order_of(request, pk, ACT)
    form = HandForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        label = Label(form.component(), given["lot"], given["serial"], given["expires"])
        delivery_receive(
            by=person_of(request), delivery=open_delivery(row), label=label, count=given["count"],
            condition=given["condition"], note=given["note"], at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip
        words = {"count": given["count"], "item": label.component.name}
        messages.success(request, _("Taken in: %(count)s of %(item)s.") % words)

    return done(request, form, act, lambda: _page(request, row, hand=form), "order-receive", row.pk)


@require_POST
def receive_undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back the newest receipt: it was a mistake."""
    row = order_of(request, pk, ACT)
    form = KeyForm(request.POST)

    def act() -> None:
        lines = delivery_take_back(
            by=person_of(request), delivery=open_delivery(row), at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip
        numbers = ", ".join(str(line.number) for line in lines)
        messages.success(request, _("Taken back: %(numbers)s.") % {"numbers": numbers})

    return done(request, form, act, lambda: _page(request, row, done=form), "order-receive", row.pk)


@require_POST
def receive_done(request: HttpRequest, pk: int) -> HttpResponse:
    """Finish the delivery; the order is closed with it if nothing more is to come."""
    row = order_of(request, pk, ACT)
    form = KeyForm(request.POST)

    def act() -> None:
        delivery_close(
            by=person_of(request), delivery=open_delivery(row), at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, done=form), "order", row.pk)


def open_delivery(row: Order) -> Delivery:
    """The delivery of the order that is being taken in. Raises Refusal "no-delivery"."""
    found = row.deliveries.select_related("order__site__party", "order__supplier", "place").filter(
        closed_at__isnull=True
    )
    delivery = found.first()
    if delivery is None:
        raise Refusal(
            "no-delivery",
            _("No delivery of %(order)s is being taken in.") % {"order": row.number},
            _("Begin one first: say where it is put down."),
        )
    return delivery


def _page(request: HttpRequest, row: Order, **given: forms.Form) -> HttpResponse:
    at = timezone.now()
    day = site_day(row.site, at)
    current = next((one for one in row.deliveries.all() if one.closed_at is None), None)
    arrivals = shown_arrivals(current) if current else []
    begin = {**new_key(), "tenure": tenure_of(row)}
    context: dict[str, Any] = {
        "order": row,
        "at": at,
        "says": order_says(row, day),
        "lines": shown_lines(row),
        "delivery": current,
        "all_here": not any(outstanding(line) for line in row.lines.all()),
        "arrivals": arrivals,
        "undo": next((one for one in arrivals if not one.taken_back), None),
        "undo_form": KeyForm(initial=new_key()),
        "expected": row.state in Order.OUT and row.brings,
        "begin_form": given.get("begin") or BeginForm(initial=begin, site=row.site),
        "hand_form": given.get("hand") or HandForm(initial={**new_key(), **_handed(request)}),
        "done_form": given.get("done") or KeyForm(initial=new_key()),
        "handed": bool(_handed(request)),
    }
    return answer_page(request, "trays/orders/receive.html", context, status=status_of(given))


def _handed(request: HttpRequest) -> dict[str, str]:
    """What a scan that needs a decision has read already."""
    return {name: request.GET[name][:80] for name in HANDED if request.GET.get(name)}
