"""The pages on which a loan comes, is checked, and is counted out: by scan, or by hand."""

from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from trays.instruments.models import ContentsLine
from trays.loans.arriving import ARRIVES_FROM, SetCame, loan_arrive, loan_units_arrive
from trays.loans.checking import Findings, loan_check
from trays.loans.counting_out import loan_count_out
from trays.loans.forms import ArriveForm, CheckForm, CountForm, ShelfForm, UnitByHandForm
from trays.loans.models import Loan, LoanSet
from trays.loans.queries import countable, standings
from trays.loans.saying import count_waits
from trays.loans.scanning import Scanner, Seen, Shelf, unit_seen
from trays.loans.showing import contents_to_count, is_used, sets_of, units_of
from trays.loans.views import loan_of
from trays.parties.models import Tenure
from trays.parties.queries import site_day
from trays.processing.pages import person_of
from trays.processing.policies import policy_on
from trays.staff.access import fetch
from trays.stock.arriving import Goods
from trays.web.acting import KeyForm, done, new_key, status_of
from trays.web.errors import Refusal
from trays.web.numbers import whole
from trays.web.page import answer_page, go_to

ACT = "receive_loan"


@require_safe
def arrive(request: HttpRequest, pk: int) -> HttpResponse:
    """What is expected with a loan and what has come; each scan takes one thing in."""
    return _arrive_page(request, loan_of(request, pk, ACT))


@require_POST
def arrive_set(request: HttpRequest, pk: int) -> HttpResponse:
    """Take one set in by the code on it."""
    row = loan_of(request, pk, ACT)
    form = ArriveForm(request.POST, loan=row)

    def act() -> None:
        given = form.cleaned_data
        loan_arrive(
            by=person_of(request), loan=row,
            came=[SetCame(given["loan_set"], given["code"].strip(), given["grai"].strip())],
            place=given["place"], at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip
        messages.success(request, _("Set %(code)s is here. Check it next.") % {"code": given["code"]})

    return done(request, form, act, lambda: _arrive_page(request, row, set=form), "loan-arrive", row.pk)


@require_POST
def arrive_shelf(request: HttpRequest, pk: int) -> HttpResponse:
    """Choose where the sealed units go."""
    row = loan_of(request, pk, ACT)
    form = ShelfForm(request.POST, site=row.site)

    def act() -> None:
        Shelf(request).put(form.cleaned_data["place"])

    return done(request, form, act, lambda: _arrive_page(request, row, shelf=form), "loan-arrive", row.pk)


@require_POST
def arrive_unit(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a sealed unit in as a person read its label."""
    row = loan_of(request, pk, ACT)
    form = UnitByHandForm(request.POST)
    place = Shelf(request).at(row.site_id)
    if place is None:
        raise Refusal(
            "no-shelf",
            _("This site has no shelf or store for sealed units."),
            _("Have one put on file, then take the box in."),
        )

    def act() -> None:
        given = form.cleaned_data
        goods = Goods(
            component=form.component(), owner=row.supplier, tenure=Tenure.LOANED, place=place,
            lot=given["lot"], serial=given["serial"], expires=given["expires"],
        )  # fmt: skip
        loan_units_arrive(
            by=person_of(request), loan=row, goods=goods, count=given["count"],
            condition=given["condition"], at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip
        messages.success(request, _("Taken in: %(item)s.") % {"item": goods.component.name})

    return done(request, form, act, lambda: _arrive_page(request, row, unit=form), "loan-arrive", row.pk)


def _arrive_page(request: HttpRequest, row: Loan, **given: forms.Form) -> HttpResponse:
    place = Shelf(request).at(row.site_id)
    sets, items = sets_of(row), units_of(row)
    coming = [one for one in sets if one.row.open and not one.row.set_id]
    context: dict[str, Any] = {
        "loan": row,
        "at": timezone.now(),
        "open": row.status in ARRIVES_FROM and row.ended_at is None,
        "sets": sets,
        "coming": coming,
        "items": items,
        "short": sum(max(0, one.asked - one.came) for one in items),
        "place": place,
        "unchecked": [one for one in sets if one.row.set_id and not one.row.outcome],
        "set_form": given.get("set") or ArriveForm(initial=new_key(), loan=row),
        "shelf_form": given.get("shelf")
        or ShelfForm(initial={"place": place.pk if place else None}, site=row.site),
        "unit_form": given.get("unit") or UnitByHandForm(initial=new_key()),
    }
    return answer_page(request, "trays/loans/arrive.html", context, status=status_of(given))


@require_http_methods(["GET", "HEAD", "POST"])
def check(request: HttpRequest, pk: int) -> HttpResponse:
    """The check of one set on arrival, line by line."""
    rows = LoanSet.objects.select_related("loan__site", "loan__supplier", "design", "set__version")
    row = cast(LoanSet, fetch(rows, by=person_of(request), act=ACT, site="loan__site_id", pk=pk))
    lines = list(
        ContentsLine.objects.filter(version__sets=row.set_id).select_related("instrument", "rack_stock")
    )
    if request.method != "POST":
        return _check_page(request, row, CheckForm(initial=new_key(), lines=lines))
    form = CheckForm(request.POST, lines=lines)

    def act() -> None:
        given = form.cleaned_data
        findings = Findings(
            instructions=given["instructions"], certificate=given["certificate"],
            certificate_number=given["certificate_number"], undamaged=given["undamaged"],
            weight_grams=form.grams, counted=form.counted(),
        )  # fmt: skip
        loan_check(
            by=person_of(request), loan_set=row, findings=findings, outcome=given["outcome"],
            reason=given["reason"], note=given["note"], at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _check_page(request, row, form, bad=True), "loan", row.loan_id)


def _check_page(request: HttpRequest, row: LoanSet, form: CheckForm, *, bad: bool = False) -> HttpResponse:
    at, site = timezone.now(), row.loan.site
    newest = row.checks.select_related("by").order_by("-number").first()
    limit = policy_on(site=site, day=site_day(site, at)).weight_limit_grams
    context = {
        "row": row,
        "loan": row.loan,
        "at": at,
        "here": row.set_id is not None,
        "newest": newest,
        "limit": f"{limit / 1000:.2f}",
        "form": form,
        "lines": form.rows(),
    }
    return answer_page(
        request, "trays/loans/check.html", context, status=status_of({"check": form} if bad else {})
    )


@require_safe
def count_out(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything that goes home: sealed units by scan, sets line by line."""
    row = loan_of(request, pk, ACT)
    return _count_page(request, row, _count_form(row))


@require_POST
def count_seen(request: HttpRequest, pk: int) -> HttpResponse:
    """A sealed unit is here although its label cannot be scanned; or it is not, after all."""
    row = loan_of(request, pk, ACT)
    seen = Seen(request, row.pk)
    if (dropped := whole(request.POST.get("drop", ""))) is not None:
        seen.drop([dropped])
    elif (unit := whole(request.POST.get("unit", ""))) is not None:
        one = (
            row.units.filter(open=True, pk=unit)
            .select_related("unit__component")
            .first()
        )
        if one is not None:
            scan = Scanner(request, row, person_of(request), timezone.now())
            unit_seen(scan, one.unit.component, one.unit.lot, one.unit.serial)
    return go_to(request, "loan-count-out", row.pk)


@require_POST
def count_done(request: HttpRequest, pk: int) -> HttpResponse:
    """The count is finished; what differs is kept with it."""
    row = loan_of(request, pk, ACT)
    form = _count_form(row, request.POST)

    def act() -> None:
        seen = Seen(request, row.pk)
        loan_count_out(
            by=person_of(request), loan=row, counted=form.counted(), units_seen=seen.ids, at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip
        seen.clear()

    return done(request, form, act, lambda: _count_page(request, row, form, bad=True), "loan", row.pk)


def _count_form(row: Loan, data: Any = None) -> CountForm:
    return CountForm(data, lines=contents_to_count(row), initial=new_key())


def _count_page(request: HttpRequest, row: Loan, form: CountForm, *, bad: bool = False) -> HttpResponse:
    seen = set(Seen(request, row.pk).ids)
    (standing,) = standings([row], site=row.site, at=timezone.now())
    units = [one for item in units_of(row) for one in item.units if one.open]
    sets = [one for one in sets_of(row) if one.row.open and one.row.set_id]
    context: dict[str, Any] = {
        "loan": row,
        "at": timezone.now(),
        "here": reverse("loan-count-out", args=[row.pk]),
        "sets": [(one, form.rows(one.row.pk)) for one in sets],
        "units": [(one, one.pk in seen, is_used(one)) for one in units],
        "missing": sum(1 for one in units if one.pk not in seen and not is_used(one)),
        "seen": len(seen),
        "waits": count_waits(standing, countable=countable(standing)),
        "form": form,
        "key_form": KeyForm(initial=new_key()),
    }
    return answer_page(
        request, "trays/loans/count_out.html", context, status=status_of({"count": form} if bad else {})
    )
