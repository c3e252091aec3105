"""The presses on a loan's own page: the supplier's word, its end, going home, charges, closing."""

from collections.abc import Callable
from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from trays.loans.asking import loan_cancel, loan_confirm, loan_refuse
from trays.loans.charging import charge_accept, charge_claim, charge_refuse
from trays.loans.checking import loan_units_check
from trays.loans.counting_out import loan_close, loan_return
from trays.loans.forms import (
    ClaimForm,
    ConfirmForm,
    EndForm,
    RefuseChargeForm,
    ReturnForm,
    component_named,
)
from trays.loans.models import Loan
from trays.loans.models_charges import ChargeKind, LoanCharge
from trays.loans.showing import charges_of, count_of, units_of
from trays.loans.views import loan_of, loan_page
from trays.loans.words import DECLINE
from trays.processing.pages import person_of
from trays.staff.access import fetch
from trays.web.acting import KeyForm, done


def _press(
    request: HttpRequest,
    row: Loan,
    name: str,
    form: forms.Form,
    act: Callable[[dict[str, Any]], object],
) -> HttpResponse:
    """Do the act of a form on the page of its loan, and show that page again."""
    return done(
        request,
        form,
        lambda: act(form.cleaned_data),
        lambda: loan_page(request, row, **{name: form}),
        "loan",
        row.pk,
    )


@require_POST
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """The supplier's word."""
    row = loan_of(request, pk, "ask_loan")

    def act(given: dict[str, Any]) -> None:
        loan_confirm(
            by=person_of(request), loan=row, arrives_at=given["arrives_at"], fee=given["fee"],
            supplier_reference=given["supplier_reference"], at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip

    return _press(request, row, "confirm", ConfirmForm(request.POST), act)


@require_POST
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """The supplier says no, or we no longer want it."""
    row = loan_of(request, pk, "ask_loan")

    def act(given: dict[str, Any]) -> None:
        service = loan_refuse if given["reason"] in DECLINE else loan_cancel
        service(
            by=person_of(request), loan=row, reason=given["reason"], at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip

    return _press(request, row, "end", EndForm(request.POST), act)


@require_POST
def units_checked(request: HttpRequest, pk: int) -> HttpResponse:
    """What came sealed is whole and in date."""
    row = loan_of(request, pk, "receive_loan")

    def act(given: dict[str, Any]) -> None:
        loan_units_check(by=person_of(request), loan=row, at=timezone.now(), client_key=given["client_key"])

    return _press(request, row, "checked", KeyForm(request.POST), act)


@require_POST
def send_home(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything of the loan goes home."""
    row = loan_of(request, pk, "receive_loan")
    count = count_of(row)
    form = ReturnForm(request.POST, differs=bool(count and count.row.differences))

    def act(given: dict[str, Any]) -> None:
        loan_return(
            by=person_of(request), loan=row, told=given.get("told", False),
            carrier_reference=given["carrier_reference"], at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip
        messages.success(request, _("Loan %(loan)s has gone home.") % {"loan": row.number})

    return _press(request, row, "return", form, act)


@require_POST
def close(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything of the loan is accounted for."""
    row = loan_of(request, pk, "keep_agreements")

    def act(given: dict[str, Any]) -> None:
        loan_close(by=person_of(request), loan=row, at=timezone.now(), client_key=given["client_key"])

    return _press(request, row, "close", KeyForm(request.POST), act)


@require_POST
def claim(request: HttpRequest, pk: int) -> HttpResponse:
    """What the supplier claims."""
    row = loan_of(request, pk, "keep_agreements")

    def act(given: dict[str, Any]) -> None:
        used = given["kind"] == ChargeKind.USED
        charge_claim(
            by=person_of(request), loan=row, kind=given["kind"], amount=given["amount"],
            component=component_named(given["item"]) if used else None,
            quantity=given["quantity"] if used else 1, reference=given["claim_number"], at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip

    return _press(request, row, "claim", ClaimForm(request.POST), act)


@require_POST
def accept(request: HttpRequest, pk: int) -> HttpResponse:
    """A charge is accepted; for what was used, against so many uses on record."""
    row = _charge(request, pk)

    def act(given: dict[str, Any]) -> None:
        shown = charges_of(row.loan, units_of(row.loan))
        uses = next((one.uses for one in shown if one.row.pk == row.pk), ())
        charge_accept(
            by=person_of(request), charge=row, use_keys=uses[: row.quantity], at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip

    return _press(request, row.loan, "charge", KeyForm(request.POST), act)


@require_POST
def refuse(request: HttpRequest, pk: int) -> HttpResponse:
    """A charge is refused, with its reason."""
    row = _charge(request, pk)
    form = RefuseChargeForm(request.POST)

    def act(given: dict[str, Any]) -> None:
        charge_refuse(
            by=person_of(request), charge=row, reason=given["reason"], at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip

    return _press(request, row.loan, "charge", form, act)


def _charge(request: HttpRequest, pk: int) -> LoanCharge:
    rows = LoanCharge.objects.select_related("loan__site", "loan__supplier", "loan__offer", "loan__asked_by")
    found = fetch(rows, by=person_of(request), act="keep_agreements", site="loan__site_id", pk=pk)
    return cast(LoanCharge, found)
