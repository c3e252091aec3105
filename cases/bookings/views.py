"""Pages of bookings: book in two steps, change, predict, put a list in order."""

from collections.abc import Mapping, Sequence
from typing import Any, cast
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from cases.bookings.checks import still_booked
from cases.bookings.enter import plan_for
from cases.bookings.forms import ChangeForm, FamilyForm, FirstForm, OrderForm, PredictForm, SecondForm
from cases.bookings.kinds import Follow, Notice, PlanSheet
from cases.bookings.models import Case, TheatreList
from cases.bookings.queries import (
    CaseWhole,
    case_whole,
    list_at,
    list_row,
    plan_book,
    plan_sheet_of,
    predictions_told,
    whole_cases,
)
from cases.bookings.services import case_book, case_change, list_reorder, prediction_add
from cases.bookings.sizing_forms import SizesForms, slots_to_book, slots_to_predict
from trays.parties.models import Site
from trays.staff.access import fetch, sites_for
from trays.staff.models import Person
from trays.web.errors import Fault, NotAllowed, Refusal, faults_from
from trays.web.page import answer_page, go_to

get_or_post = require_http_methods(["GET", "HEAD", "POST"])


def told(request: HttpRequest, what: str, notices: Sequence[Notice] = ()) -> None:
    """Say on the next page what was done, and what is to be known about it."""
    messages.success(request, what)
    for notice in notices:
        messages.warning(request, notice.sentence)


def sites_to_book(by: Person) -> list[Site]:
    """The sites where the person may book; refused where there is none."""
    sites = list(sites_for(by=by, act="book_case"))
    if not sites:
        raise NotAllowed(
            "not-your-act",
            _("Your role does not include booking cases."),
            _("Ask the coordinator of the list."),
        )
    return sites


@get_or_post
def book(request: HttpRequest) -> HttpResponse:
    """Two small steps on one address; nothing is saved before the second is sent."""
    by = cast(Person, request.user)
    sites = sites_to_book(by)
    if request.method != "POST":
        return _first_page(request, FirstForm(sites=sites, initial=_wished(request)))
    first = FirstForm(request.POST, sites=sites)
    sheet = _sheet_for(first) if first.is_valid() else None
    if sheet is None or request.POST.get("step") == "first":
        return _first_page(request, first, typed=request.POST)
    if request.POST.get("step") != "book":
        return _second_page(request, *_second_forms(first, sheet, typed=request.POST))
    second, sizes = _second_forms(first, sheet, data=request.POST)
    planner = second.cleaned_data["planner"] if second.is_valid() else None
    if sizes.is_valid(planner=planner) and second.is_valid():
        try:
            return _booked(request, by, first, second, sizes)
        except Refusal as refused:
            second.refuse(refused)
    return _second_page(request, second, sizes)


def _wished(request: HttpRequest) -> dict[str, Any]:
    """What a link to this page already says: theatre, day, session."""
    wished = {name: request.GET[name] for name in ("theatre", "day", "session") if request.GET.get(name)}
    return {"day": timezone.localdate().isoformat()} | wished


def _sheet_for(first: FirstForm) -> PlanSheet | None:
    procedure, surgeon = first.cleaned_data["procedure"], first.cleaned_data["surgeon"]
    try:
        return plan_for(procedure, surgeon, plan_book([procedure.pk]))
    except Refusal as refused:
        first.add_error("procedure", refused.as_error())
        return None


def _second_forms(
    first: FirstForm,
    sheet: PlanSheet,
    *,
    data: Mapping[str, Any] | None = None,
    typed: Mapping[str, Any] | None = None,
) -> tuple[SecondForm, SizesForms]:
    given = first.cleaned_data
    row = list_at(given["theatre"], given["day"], given["session"])
    names = [name for name in SecondForm.base_fields if typed and name in typed]
    second = SecondForm(
        data,
        sheet=sheet,
        minutes=given["procedure"].minutes,
        row=row,
        first=first,
        initial={name: typed[name] for name in names} if typed else None,
    )
    return second, SizesForms(slots_to_book(sheet, first.sides), data, typed=typed)


def _first_page(
    request: HttpRequest, first: FirstForm, *, typed: Mapping[str, Any] | None = None
) -> HttpResponse:
    """The first step; what was typed into the second goes along unseen."""
    carried = [
        (name, value)
        for name, value in (typed or {}).items()
        if name not in first.fields and name not in ("step", "csrfmiddlewaretoken")
    ]
    status = 422 if first.is_bound and first.errors else 200
    context = {"form": first, "carried": carried}
    return answer_page(request, "cases/bookings/book_first.html", context, status=status)


def _second_page(request: HttpRequest, second: SecondForm, sizes: SizesForms) -> HttpResponse:
    faults = [*faults_from(second), *sizes.faults()] if second.is_bound else []
    first = second.first
    context = {
        "form": second,
        "sizes": sizes,
        "faults": faults,
        "given": first.cleaned_data,
        "plan": second.sheet.plan,
        "side_words": ["both"] if len(first.sides) == 2 else list(first.sides),
        "first_values": [(name, first[name].value() or "") for name in first.fields],
        "session": TheatreList.Session(first.cleaned_data["session"]).label,
    }
    status = 422 if faults else 200
    return answer_page(request, "cases/bookings/book_second.html", context, status=status)


def _booked(
    request: HttpRequest, by: Person, first: FirstForm, second: SecondForm, sizes: SizesForms
) -> HttpResponse:
    where, facts = first.cleaned_data, second.cleaned_data
    booked = case_book(
        by=by,
        theatre=where["theatre"],
        day=where["day"],
        session=where["session"],
        procedure=where["procedure"],
        surgeon=where["surgeon"],
        sides=[side for side in first.sides if side != "none"],
        reference=facts["reference"],
        position=facts["position"],
        starts_at=second.starts_at(),
        minutes=facts["minutes"],
        urgency=facts["urgency"],
        predictions=sizes.predictions,
        families=sizes.families,
        at=timezone.now(),
        client_key=facts["client_key"],
    )
    words = {"reference": booked.case.reference, "position": booked.case.position}
    told(request, _("Case %(reference)s is booked at position %(position)s.") % words, booked.notices)
    return go_to(request, "case", booked.case.pk)


def case_to(request: HttpRequest, act: str, pk: int) -> Case:
    """The case, if the person may do the act at its site and it is still booked."""
    case = cast(Case, fetch(whole_cases(), by=cast(Person, request.user), act=act, pk=pk))
    still_booked(case)
    return case


@get_or_post
def change(request: HttpRequest, pk: int, follow: Follow | None = None) -> HttpResponse:
    """What is said of a case, while it stays where it is."""
    case = case_to(request, "book_case", pk)
    data = request.POST if request.method == "POST" else None
    form = ChangeForm(data, case=case)
    whole = case_whole(case)
    families = _family_forms(whole, data)
    if form.is_bound and all([form.is_valid(), *(one.is_valid() for one in families)]):
        try:
            return _changed(request, case, form, families, follow)
        except Refusal as refused:
            _refuse_at(refused, form, families)
    faults = [*faults_from(form), *_family_faults(families)] if form.is_bound else []
    context = {
        "case": case,
        "form": form,
        "families": families,
        "faults": faults,
        "sides": whole.sides,
    }
    return answer_page(request, "cases/bookings/change.html", context, status=422 if faults else 200)


def _family_forms(whole: CaseWhole, data: Mapping[str, Any] | None) -> list[FamilyForm]:
    sheet = plan_sheet_of(whole.case)
    made = []
    for one in whole.slots:
        slot = sheet.of(one.slot.plan_slot_id) if sheet else None
        allowed = [(each.family.pk, each.family.name) for each in slot.fitting(one.side)] if slot else []
        own = (one.slot.family_id, one.slot.family.name)
        if own not in allowed:
            allowed.insert(0, own)
        if len(allowed) > 1:
            made.append(
                FamilyForm(
                    data,
                    slot_id=one.slot.pk,
                    name=one.slot.plan_slot.name,
                    side=one.side,
                    families=allowed,
                    chosen=one.slot.family_id,
                )
            )
    return made


def _family_faults(families: Sequence[FamilyForm]) -> list[Fault]:
    return [fault for form in families for fault in faults_from(form)]


def _refuse_at(refused: Refusal, form: ChangeForm, families: Sequence[FamilyForm]) -> None:
    for one in families:
        if refused.facts.get("slot") == one.slot_id:
            one.add_error("family", refused.as_error())
            return
    form.refuse(refused)


def _changed(
    request: HttpRequest,
    case: Case,
    form: ChangeForm,
    families: Sequence[FamilyForm],
    follow: Follow | None,
) -> HttpResponse:
    facts = form.cleaned_data
    chosen = {one.slot_id: one.chosen_family() for one in families if one.has_changed()}
    changed = case_change(
        by=cast(Person, request.user),
        case=case,
        at=timezone.now(),
        starts_at=form.starts_at(),
        minutes=facts["minutes"],
        reference=facts["reference"],
        urgency=facts["urgency"],
        surgeon=facts["surgeon"],
        families=chosen,
        client_key=facts["client_key"],
        follow=follow,
    )
    what = _("Case %(reference)s is changed.") % {"reference": changed.case.reference}
    told(request, what, changed.notices)
    return go_to(request, "case", case.pk)


@get_or_post
def predict(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a prediction; those before it are shown and stay."""
    case = case_to(request, "predict_size", pk)
    data = request.POST if request.method == "POST" else None
    whole = case_whole(case)
    form = PredictForm(data, case=case)
    sizes = SizesForms(slots_to_predict(whole.slots), data)
    if form.is_bound and form.is_valid() and sizes.is_valid(planner=form.cleaned_data["planner"]):
        try:
            prediction_add(
                by=cast(Person, request.user),
                case=case,
                predictions=sizes.predictions,
                at=timezone.now(),
                client_key=form.cleaned_data["client_key"],
            )
        except Refusal as refused:
            form.refuse(refused)
        else:
            told(request, _("The prediction is added. Those before it stay on file."))
            return go_to(request, "case", case.pk)
    faults = [*faults_from(form), *sizes.faults()] if form.is_bound else []
    context = {
        "case": case,
        "whole": whole,
        "form": form,
        "sizes": sizes,
        "faults": faults,
        "earlier": predictions_told(whole),
    }
    return answer_page(request, "cases/bookings/predict.html", context, status=422 if faults else 200)


@get_or_post
def order(request: HttpRequest, pk: int, follow: Follow | None = None) -> HttpResponse:
    """The cases of a list in order, each with its ways up, down and to a position."""
    by = cast(Person, request.user)
    lists = TheatreList.objects.select_related("site", "theatre", "surgeon")
    theatre_list = cast(TheatreList, fetch(lists, by=by, act="reorder_list", pk=pk))
    refusal = None
    if request.method == "POST":
        form = OrderForm(request.POST)
        try:
            if form.is_valid():
                return _reordered(request, by, theatre_list, form, follow)
            refusal = Refusal(
                "order-unreadable",
                _("That move could not be read."),
                _("Press one of the buttons beside a case."),
            )
        except Refusal as refused:
            refusal = refused
    row = list_row(theatre_list)
    way, _dash, case_id = request.GET.get("moved", "")[:40].partition("-")
    context = {
        "list": theatre_list,
        "cases": row.cases,
        "seen": " ".join(str(case.pk) for case in row.cases),
        "client_key": uuid4(),
        "refusal": refusal,
        "moved_way": way,
        "moved_case": int(case_id) if case_id.isdecimal() else None,
        "last": len(row.cases),
    }
    status = refusal.status if refusal else 200
    return answer_page(request, "cases/bookings/order.html", context, status=status)


def _reordered(
    request: HttpRequest, by: Person, theatre_list: TheatreList, form: OrderForm, follow: Follow | None
) -> HttpResponse:
    seen, wanted = form.cleaned_data["seen"], form.new_order()
    way, case_id = form.cleaned_data["move"]
    if wanted != seen:
        done = list_reorder(
            by=by,
            theatre_list=theatre_list,
            order=wanted,
            seen=seen,
            at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
            follow=follow,
        )
        told(request, _("The order is changed; the starts after it are estimated anew."), done.notices)
    if way == "all":
        return go_to(request, "day-sets", theatre_list.site.code, theatre_list.day.isoformat())
    # The same button has the focus again, so that a case can be walked along the list by the keyboard.
    return go_to(request, f"{reverse('list-order', args=[theatre_list.pk])}?moved={way}-{case_id}")

