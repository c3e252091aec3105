"""The pages of loans: the list of a site, asking for one, and one loan with its next act."""

from datetime import datetime
from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from trays.loans import queries
from trays.loans.asking import LoanWish, loan_ask
from trays.loans.deadlines import Lateness
from trays.loans.forms import (
    WHICH,
    AskForm,
    ClaimForm,
    ConfirmForm,
    EndForm,
    ListFilter,
    RefuseChargeForm,
    ReturnForm,
    RulesForm,
    component_named,
)
from trays.loans.models import Loan
from trays.loans.models_charges import ChargeStatus
from trays.loans.policies import DAYS, HOURS, loan_policy_on, loan_policy_set
from trays.loans.queries import Standing
from trays.loans.saying import list_says, standing_says
from trays.loans.showing import charges_of, count_of, sets_of, steps_of, units_of
from trays.loans.tables import LoanTable, loan_rows
from trays.loans.ways import EXPECTED, HERE, LoanStatus
from trays.parties.queries import site_day
from trays.places.choose import SiteChoice, site_choice
from trays.processing.pages import person_of
from trays.staff.access import fetch, may, require
from trays.staff.models import Person
from trays.web.acting import KeyForm, done, new_key, status_of
from trays.web.page import answer_page
from trays.web.table import answer_table

S = LoanStatus
MOST_ENDED = 500


@require_safe
def loans(request: HttpRequest) -> HttpResponse:
    """A site's loans, the earliest deadline first."""
    by, at = person_of(request), timezone.now()
    choice = site_choice(request, act="see_loans", by=by)
    site = choice.site
    chosen = ListFilter(request.GET)
    which = chosen.chosen.get("which", "")
    opened = queries.late_or_due(site=site, at=at)
    shown = (
        queries.standings(list(queries.ended_loans(site_id=site.pk)[:MOST_ENDED]), site=site, at=at)
        if which == "ended"
        else [one for one in opened if _chosen(one, which)]
    )
    context = {
        "site": site,
        "sites": choice.links,
        "at": at,
        "says": list_says(opened),
        "which": chosen.links("which", [(value, str(label)) for value, label in WHICH]),
        "may_ask": may(by=by, act="ask_loan", site_id=site.pk),
        "may_keep": may(by=by, act="keep_agreements", site_id=site.pk),
    }
    table = LoanTable(loan_rows(shown))
    return answer_table(request, table, "trays/loans/loans.html", context, file_name=f"loans-{site.code}")


def _chosen(one: Standing, which: str) -> bool:
    return {
        "late": one.late,
        "expected": one.status in EXPECTED,
        "here": one.status in (*HERE, S.REFUSED),
        "settle": one.status == S.RETURNED,
    }.get(which, True)


@require_http_methods(["GET", "HEAD", "POST"])
def loan_new(request: HttpRequest) -> HttpResponse:
    """Ask for a loan by hand."""
    by, at = person_of(request), timezone.now()
    choice = site_choice(request, act="ask_loan", by=by)
    day = site_day(choice.site, at)
    if request.method != "POST":
        return _ask_page(request, choice, AskForm(initial=new_key(), day=day))
    form = AskForm(request.POST, day=day)
    made: list[Loan] = []

    def act() -> None:
        made.append(
            loan_ask(
                by=by, site=choice.site, wish=_wish(form.cleaned_data), at=at,
                client_key=form.cleaned_data["client_key"],
            )
        )  # fmt: skip

    answer = done(request, form, act, lambda: _ask_page(request, choice, form, bad=True), reverse("loans"))
    return answer if not made else done(request, form, lambda: None, lambda: answer, "loan", made[0].pk)


def _wish(given: dict[str, Any]) -> LoanWish:
    component = component_named(given["item"])
    return LoanWish(
        supplier=given["supplier"] or given["offer"].supplier,
        offer=given["offer"],
        designs=[(given["design"], 1)] if given["design"] else [],
        items=[(component, given["quantity"] or 1)] if component else [],
        needed_from=given["needed_from"],
        needed_until=given["needed_until"],
        note=given["note"],
    )


def _ask_page(request: HttpRequest, choice: SiteChoice, form: AskForm, *, bad: bool = False) -> HttpResponse:
    context = {"site": choice.site, "sites": choice.links, "at": timezone.now(), "form": form}
    status = status_of({"ask": form} if bad else {})
    return answer_page(request, "trays/loans/ask.html", context, status=status)


@require_safe
def loan(request: HttpRequest, pk: int) -> HttpResponse:
    """One loan: where it stands, its next act, and everything in it."""
    return loan_page(request, loan_of(request, pk))


def loan_of(request: HttpRequest, pk: int, act: str = "see_loans") -> Loan:
    """The loan, for those who may do the act at its site."""
    return cast(Loan, fetch(queries.whole_loans(), by=person_of(request), act=act, pk=pk))


def loan_page(request: HttpRequest, row: Loan, **given: forms.Form) -> HttpResponse:
    """The page of a loan, with a form again that was not in order."""
    by, at = person_of(request), timezone.now()
    (standing,) = queries.standings([row], site=row.site, at=at)
    sets, items = sets_of(row), units_of(row)
    count = count_of(row)
    charges = charges_of(row, items)
    unchecked = [one for one in sets if one.row.set_id and not one.row.outcome and one.row.open]
    context: dict[str, Any] = {
        "loan": row,
        "at": at,
        "standing": standing,
        "says": standing_says(standing),
        "late": standing.late,
        "soon": standing.lateness is Lateness.SOON,
        "sets": sets,
        "coming": [one for one in sets if one.row.open and not one.row.set_id],
        "unchecked": unchecked,
        "items": items,
        "charges": charges,
        "undecided": sum(1 for one in charges if one.row.status == ChargeStatus.CLAIMED),
        "count": count,
        "steps": steps_of(row, standing),
        "gone": getattr(row, "gone", None),
        "key": new_key()["client_key"],
        **_acts(row, standing, by, at),
        **_forms(row, standing, given, differs=bool(count and count.row.differences)),
    }
    return answer_page(request, "trays/loans/loan.html", context, status=status_of(given))


def _acts(row: Loan, standing: Standing, by: Person, at: datetime) -> dict[str, bool]:
    """What this person may do with the loan as it stands."""
    status, open_ = standing.status, row.ended_at is None
    receives = open_ and may(by=by, act="receive_loan", site_id=row.site_id)
    asks = open_ and may(by=by, act="ask_loan", site_id=row.site_id)
    keeps = open_ and may(by=by, act="keep_agreements", site_id=row.site_id)
    return {
        "may_confirm": asks and status in EXPECTED,
        "may_end": asks and status in EXPECTED,
        "may_arrive": receives and status in (*EXPECTED, S.ARRIVED, S.CHECKED, S.PROCESSED),
        "may_check": receives and status == S.ARRIVED,
        "may_count": receives and queries.countable(standing),
        "may_return": receives and status in (S.COUNTED_OUT, S.REFUSED),
        "may_close": keeps and status == S.RETURNED,
        "may_charge": keeps and status not in EXPECTED,
        "over": at > row.needed_until,
    }


def _forms(row: Loan, standing: Standing, given: dict[str, forms.Form], *, differs: bool) -> dict[str, Any]:
    confirm = {
        **new_key(),
        "arrives_at": row.arrives_at,
        "supplier_reference": row.supplier_reference,
        "fee": row.fee,
    }
    return {
        "confirm_form": given.get("confirm") or ConfirmForm(initial=confirm),
        "end_form": given.get("end") or EndForm(initial=new_key()),
        "checked_form": given.get("checked") or KeyForm(initial=new_key()),
        "return_form": given.get("return") or ReturnForm(initial=new_key(), differs=differs),
        "close_form": given.get("close") or KeyForm(initial=new_key()),
        "claim_form": given.get("claim") or ClaimForm(initial=new_key()),
        "refuse_form": given.get("refuse") or RefuseChargeForm(initial=new_key()),
        "charge_form": given.get("charge"),
    }


@require_http_methods(["GET", "HEAD", "POST"])
def loan_rules(request: HttpRequest) -> HttpResponse:
    """How long before and after a case each step of a loan must be done at a site."""
    by, at = person_of(request), timezone.now()
    choice = site_choice(request, act="see_loans", by=by)
    site = choice.site
    if request.method != "POST":
        return _rules_page(request, choice)
    require(by=by, act="keep_agreements", site_id=site.pk)
    form = RulesForm(request.POST)

    def act() -> None:
        loan_policy_set(
            by=by, site=site, values=form.values(), at=at, client_key=form.cleaned_data["client_key"]
        )
        messages.success(request, _("The rules are kept; every deadline follows them from now on."))

    to = f"{reverse('loan-rules')}?site={site.code}"
    return done(request, form, act, lambda: _rules_page(request, choice, form), to)


def _rules_page(request: HttpRequest, choice: SiteChoice, form: RulesForm | None = None) -> HttpResponse:
    site, at = choice.site, timezone.now()
    policy = loan_policy_on(site=site, day=site_day(site, at))
    initial = {**new_key(), **{name: getattr(policy, name) for name in (*HOURS, *DAYS)}}
    context = {
        "site": site,
        "sites": choice.links,
        "at": at,
        "policy": policy,
        "set": policy.pk is not None,
        "may_set": may(by=person_of(request), act="keep_agreements", site_id=site.pk),
        "form": form or RulesForm(initial=initial),
    }
    status = status_of({"rules": form} if form else {})
    return answer_page(request, "trays/loans/rules.html", context, status=status)
