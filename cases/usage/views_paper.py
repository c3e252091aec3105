"""Entering afterwards what was written on paper: implants, counts, and whose names stand under them."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from cases.bookings.models import Case
from cases.counts.kinds_count import CountState, LineState, StageState
from cases.counts.paper_entry import PaperName, paper_entered
from cases.counts.state import count_state
from cases.usage.bringing import box_take_down, unit_bring_in
from cases.usage.fates import fate_record
from cases.usage.forms_paper import PaperBoxForm, PaperSignForm, PaperStageForm
from cases.usage.kinds import Override
from cases.usage.models import Brought, Fate
from cases.usage.pages import case_of, surround
from cases.usage.reading import implants_of
from cases.usage.signing import record_leave_unsigned
from trays.processing.pages import done, new_key, person_of, status_of
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import NotThere, Refusal
from trays.web.page import answer_page

TO_COME = ("waiting", "open")
DOWN_INSTEAD = ("unit-not-on-file", "unknown-item")
MOST_DIGITS = 5


@require_safe
def paper(request: HttpRequest, pk: int) -> HttpResponse:
    """What of the case is on file, and the forms that take the sheets down."""
    return _page(request, _case(request, pk))


@require_POST
def paper_box(request: HttpRequest, pk: int) -> HttpResponse:
    """A box of the implant sheet, with how it ended: both with the paper's own time."""
    case = _case(request, pk)
    form = PaperBoxForm(request.POST, case=case)

    def act() -> None:
        _enter_box(person_of(request), case, form, timezone.now())

    return done(request, form, act, lambda: _page(request, case, box=form), "theatre-paper", case.pk)


@require_POST
def paper_sign(request: HttpRequest, pk: int) -> HttpResponse:
    """Whose name stands under the implant sheet: named here, signed there."""
    case = _case(request, pk)
    form = PaperSignForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        why = _("signed on paper")
        if given["sheet"]:
            why = _("signed on paper, sheet %(sheet)s") % {"sheet": given["sheet"]}
        record_leave_unsigned(
            by=person_of(request), case=case, role=given["role"], name=given["name"],
            person=_on_file(case, given["name"]), why=why, happened_at=given["happened_at"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, case, sign=form), "theatre-paper", case.pk)


@require_POST
def paper_stage(request: HttpRequest, pk: int, stage: int) -> HttpResponse:
    """A stage of the count as it stands on the sheet."""
    case = _case(request, pk)
    form = PaperStageForm(request.POST)
    figures, wrong = _figures(request.POST)

    def act() -> None:
        given = form.cleaned_data
        if wrong:
            raise Refusal(
                "not-a-count",
                _("A count is a whole number: “%(what)s” is none.") % {"what": wrong},
                _("Put the figure as it stands on the paper."),
            )
        paper_entered(
            by=person_of(request), case=case, stage=stage, figures=figures, paper_at=given["happened_at"],
            scrub=_paper_name(case, given["scrub"]), circulating=_paper_name(case, given["circulating"]),
            rest_right=given["rest_agrees"], sheet=given["sheet"], at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip

    def again() -> HttpResponse:
        return _page(request, case, stage_key=stage, typed=request.POST, stage=form)

    return done(request, form, act, again, "theatre-paper", case.pk)


def _enter_box(by: Person, case: Case, form: PaperBoxForm, at: datetime) -> None:
    """Two acts: the box, then its fate. What stands on paper has happened: nothing speaks against it."""
    given = form.cleaned_data
    key: UUID | None = given["client_key"]
    opened = given["fate"] != Fate.RETURNED_SEALED
    common: dict[str, Any] = {
        "by": by, "case": case, "scanned": form.scanned, "construct": given["construct"],
        "override": Override(_("entered from paper"), given["word_of"]), "opened": opened,
        "happened_at": given["happened_at"], "at": at, "client_key": key,
    }  # fmt: skip
    row: Brought
    try:
        row = unit_bring_in(**common, another=True)
    except Refusal as refusal:
        if refusal.code not in DOWN_INSTEAD:
            raise
        # Pressed twice, the same key leads to the same box by its own verb.
        common["client_key"] = uuid5(key, "down") if key is not None else None
        row = box_take_down(**common, component=given["component"], owner=given["owner"])
    fate_record(
        by=by, brought=row, fate=given["fate"], why=given["why"], why_words=given["why_words"],
        card=given["card"], happened_at=given["happened_at"], at=at,
        client_key=uuid5(key, "fate") if key is not None else None,
    )  # fmt: skip


def _figures(posted: Mapping[str, Any]) -> tuple[dict[int, int], str]:
    """The figures by line, and the first that is none."""
    found: dict[int, int] = {}
    for name, typed in posted.items():
        key = name.removeprefix("line-")
        value = str(typed).strip()
        if key == name or not key.isdecimal() or not value:
            continue
        if not (value.isascii() and value.isdecimal() and len(value) <= MOST_DIGITS):
            return {}, value
        found[int(key)] = int(value)
    return found, ""


def _on_file(case: Case, name: str) -> Person | None:
    """The person of this name who works at the site; nobody where it is not clear."""
    people = Person.objects.filter(name__iexact=name.strip(), roles__site_id=case.site_id).distinct()[:2]
    return people[0] if len(people) == 1 else None


def _paper_name(case: Case, name: str) -> PaperName:
    return PaperName(name.strip(), _on_file(case, name))


def _page(
    request: HttpRequest,
    case: Case,
    *,
    stage_key: int = 0,
    typed: Mapping[str, Any] | None = None,
    **given: forms.Form,
) -> HttpResponse:
    state = count_state(case)
    chosen = stage_key or _chosen(request)
    stage = next((one for one in state.stages if one.pk == chosen), None) if state is not None else None
    if chosen and stage is None:
        raise NotThere("not-there", _("There is no such stage."), _("Load the page again."))
    seen = implants_of(case)
    context = {
        **surround(request, case, timezone.now()),
        "state": state,
        "stages": [one for one in state.stages if one.state in TO_COME] if state is not None else [],
        "stage": stage,
        "lines": _lines(state, stage, typed or {}),
        "pieces": seen.pieces,
        "stage_form": given.get("stage") or PaperStageForm(initial={**new_key(), **_names(state)}),
        "box_form": given.get("box") or PaperBoxForm(case=case, initial=new_key()),
        "sign_form": given.get("sign") or PaperSignForm(initial=new_key()),
        "forms": [form for form in given.values() if form.is_bound],
    }
    return answer_page(request, "cases/usage/paper.html", context, status=status_of(given))


def _chosen(request: HttpRequest) -> int:
    value = request.GET.get("stage", "")
    return int(value) if value.isascii() and value.isdecimal() and len(value) < 19 else 0


def _names(state: CountState | None) -> dict[str, str]:
    """Who is known to count now, to be put right by what stands on the paper."""
    if state is None:
        return {}
    scrub, circulating = state.scrub, state.circulating
    return {
        "scrub": scrub.name if scrub is not None else "",
        "circulating": circulating.name if circulating is not None else "",
    }


def _lines(
    state: CountState | None, stage: StageState | None, typed: Mapping[str, Any]
) -> list[tuple[LineState, str]]:
    if state is None or stage is None:
        return []
    return [
        (line, str(typed.get(f"line-{line.pk}", "")))
        for line in state.lines
        if line.klass in stage.classes
    ]


def _case(request: HttpRequest, pk: int) -> Case:
    case = case_of(request, pk)
    require(by=person_of(request), act="enter_from_paper", site_id=case.site_id)
    return case
