"""Pages of the bench: what waits there, and one pack's list until it is closed, weighed and packed.

With htmx the whole work of the page is swapped in place; without, each press loads it anew.
"""

from collections.abc import Callable
from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from trays.instruments.models import Pack, PackState
from trays.places.choose import site_choice
from trays.places.models import Place
from trays.processing import bench, queries_bench, undoing
from trays.processing.forms import KeyForm
from trays.processing.forms_bench import CloseForm, LineForm, PackForm
from trays.processing.gathering import shown_packs
from trays.processing.models import Assembly
from trays.processing.pages import done, key_of, new_key, person_of, status_of
from trays.processing.policies import policy_on
from trays.processing.queries_bench import BenchLine, BenchList
from trays.processing.weight import WeightPicture
from trays.staff.access import fetch
from trays.staff.signing import signer_named
from trays.stock.queries import site_day
from trays.web.errors import Refusal
from trays.web.page import answer_page

NO_LIST = BenchList(())


@require_safe
def benches(request: HttpRequest) -> HttpResponse:
    """What waits at the bench of a site."""
    choice = site_choice(request, act="process_packs", by=person_of(request))
    context = {
        "site": choice.site,
        "sites": choice.links,
        "at": timezone.now(),
        "waiting": queries_bench.bench_waiting(site=choice.site),
        "key": new_key()["client_key"],
    }
    return answer_page(request, "trays/processing/benches.html", context)


@require_safe
def one(request: HttpRequest, pk: int) -> HttpResponse:
    """One pack on the bench."""
    return _page(request, _pack(request, pk))


@require_POST
def bench_begin(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a clean pack to the bench."""
    pack = _pack(request, pk)
    form = KeyForm(request.POST)

    def act() -> object:
        return bench.assembly_begin(
            by=person_of(request), pack=pack, place=_here(pack), at=timezone.now(), client_key=key_of(request)
        )

    return _done(request, form, act, pack, begin=form)


@require_POST
def bench_take_over(request: HttpRequest, pk: int) -> HttpResponse:
    """Go on with what a colleague has begun."""
    pack = _pack(request, pk)
    form = KeyForm(request.POST)

    def act() -> object:
        return bench.assembly_take_over(by=person_of(request), assembly=_begun(pack), at=timezone.now())

    return _done(request, form, act, pack, begin=form)


@require_POST
def bench_line(request: HttpRequest, pk: int) -> HttpResponse:
    """Say what is found of one line."""
    pack = _pack(request, pk)
    assembly = _begun(pack)
    on = queries_bench.bench_list(pack, assembly).numbered(request.POST.get("line", ""))
    form = LineForm(request.POST, site=pack.set.site, on=on)

    def act() -> object:
        return bench.lines_check(
            by=person_of(request), assembly=assembly, found=[form.found()], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return _done(request, form, act, pack, line=form)


@require_POST
def bench_rest(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that everything nobody has spoken of yet is there."""
    pack = _pack(request, pk)
    form = KeyForm(request.POST)

    def act() -> object:
        return bench.rest_there(
            by=person_of(request), assembly=_begun(pack), at=timezone.now(), client_key=key_of(request)
        )

    return _done(request, form, act, pack, begin=form)


@require_POST
def bench_undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Take the last word back."""
    pack = _pack(request, pk)
    form = KeyForm(request.POST)

    def act() -> object:
        return undoing.check_undo(
            by=person_of(request), assembly=_begun(pack), at=timezone.now(), client_key=key_of(request)
        )

    return _done(request, form, act, pack, begin=form)


@require_POST
def bench_close(request: HttpRequest, pk: int) -> HttpResponse:
    """Close the list; with another person's name where something critical is short, or a second look is asked
    for.
    """
    pack = _pack(request, pk)
    form = CloseForm(request.POST)

    def act() -> object:
        given = form.cleaned_data
        allowed = checked_by = None
        if given["allowed_by"]:
            who = signer_named(name=given["allowed_by"], pin=given["allowed_pin"])
            allowed = (who, given["reason"])
        if given["second"]:
            checked_by = signer_named(name=given["second"], pin=given["second_pin"])
        return bench.assembly_close(
            by=person_of(request), assembly=_begun(pack), checked_by=checked_by, allowed=allowed,
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return _done(request, form, act, pack, close=form)


@require_POST
def bench_reopen(request: HttpRequest, pk: int) -> HttpResponse:
    """Open a closed list again, or take a packed one apart."""
    pack = _pack(request, pk)
    form = KeyForm(request.POST)

    def act() -> object:
        return bench.assembly_reopen(
            by=person_of(request), assembly=_begun(pack), at=timezone.now(), client_key=key_of(request)
        )

    return _done(request, form, act, pack, begin=form)


@require_POST
def bench_pack(request: HttpRequest, pk: int) -> HttpResponse:
    """Wrap it: packaging, indicator, weight."""
    pack = _pack(request, pk)
    form = PackForm(request.POST)

    def act() -> object:
        given = form.cleaned_data
        packed = bench.pack_close(
            by=person_of(request), assembly=_begun(pack), packaging=given["packaging"],
            weight_grams=form.grams or 0, indicator_lot=given["indicator_lot"], at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip
        messages.success(request, _("Pack %(pack)s is packed. Print its label.") % {"pack": pack.number})
        return packed

    return _done(request, form, act, pack, packing=form)


def _done(
    request: HttpRequest, form: forms.Form, act: Callable[[], object], pack: Pack, **given: forms.Form
) -> HttpResponse:
    """Do the act; then the work of the page in its new state, or the page with what is wrong."""

    def again() -> HttpResponse:
        return _page(request, _pack(request, pack.pk), **given)

    answer = done(request, form, act, again, "bench", pack.pk)
    # Done, and asked for by htmx: the work is swapped where it stands rather than gone to.
    return _page(request, _pack(request, pack.pk)) if "HX-Redirect" in answer else answer


def _page(request: HttpRequest, pack: Pack, **given: forms.Form) -> HttpResponse:
    at = timezone.now()
    assembly = queries_bench.current_assembly(pack)
    rows = queries_bench.bench_list(pack, assembly) if assembly else NO_LIST
    policy = policy_on(site=pack.set.site, day=site_day(pack.set.site, at))
    mine = assembly is not None and assembly.begun_by_id == person_of(request).pk
    working = mine and pack.state == PackState.CLEANED
    undo = _undone(assembly, rows) if working and assembly else []
    context: dict[str, Any] = {
        "pack": pack,
        "assembly": assembly,
        "list": rows,
        "state": PackState(pack.state),
        "mine": mine,
        "working": working,
        "second_check": policy.second_check,
        "open_numbers": queries_bench.numbers_of(rows.open),
        "blocked_numbers": queries_bench.numbers_of(rows.blocked),
        "undo": undo,
        "undo_numbers": queries_bench.numbers_of(undo),
        "packs": pack.set.packs.count(),
        "key": new_key()["client_key"],
        "wrong": _wrong(given, working=working, packing=pack.state == PackState.ASSEMBLED),
        "close_form": given.get("close") or CloseForm(initial=new_key()),
        **(_hand(request, pack, rows, given.get("line")) if working else {}),
        **(_weighing(pack, assembly, policy.weight_limit_grams, given.get("packing")) if assembly else {}),
    }
    return answer_page(request, "trays/processing/bench.html", context, status=status_of(given))


def _wrong(given: dict[str, forms.Form], *, working: bool, packing: bool) -> forms.Form | None:
    """A form that was refused and does not stand on the page, or not where it would be looked for."""
    shown = {"close": working, "packing": packing}
    return next((form for name, form in given.items() if not shown.get(name, False)), None)


def _hand(request: HttpRequest, pack: Pack, rows: BenchList, form: forms.Form | None) -> dict[str, Any]:
    """The line under the hand: the one asked for, else the first that stands in the way of closing."""
    wanted = request.POST.get("line", "") if form is not None else request.GET.get("line", "")
    on: BenchLine | None = rows.numbered(wanted) or next(iter(rows.blocked), None)
    if on is None:
        return {"line_form": form}
    spares = queries_bench.spares_at(pack.set.site, type_id=on.line.instrument_id)
    return {
        "hand": on,
        "line_form": form or LineForm(site=pack.set.site, on=on, initial=new_key()),
        "spares": [one for one in spares if one.type_id == on.line.instrument_id],
        "others": [] if on.rack else [one for one in spares if one.type_id != on.line.instrument_id],
        "seen": queries_bench.seen_last(pack) if on.away else None,
    }


def _weighing(pack: Pack, assembly: Assembly, limit: int, form: forms.Form | None) -> dict[str, Any]:
    before = queries_bench.weight_before(pack)
    typed = form.grams if isinstance(form, PackForm) else None
    now = assembly.weight_grams if assembly.packed_at else typed
    first = {**new_key(), "packaging": "container" if pack.container else "wrap"}
    return {"pack_form": form or PackForm(initial=first), "weight": WeightPicture(now, before, limit)}


def _undone(assembly: Assembly, rows: BenchList) -> list[BenchLine]:
    """The lines that the last word spoke of."""
    word = undoing.last_word(assembly)
    return [line for line in rows.lines if word and line.line.pk in word.line_ids]


def _begun(pack: Pack) -> Assembly:
    assembly = queries_bench.current_assembly(pack)
    if assembly is None:
        raise Refusal(
            "not-begun",
            _("The list of pack %(pack)s has not been begun in this round.") % {"pack": pack.number},
            _("Take it to the bench first."),
        )
    return assembly


def _here(pack: Pack) -> Place:
    """The bench is in the department where the pack is; what is elsewhere by the record comes to it."""
    hall = pack.set.site.places.filter(kind="sterile_services").first()
    return hall or pack.place


def _pack(request: HttpRequest, pk: int) -> Pack:
    rows = shown_packs()
    return cast(Pack, fetch(rows, by=person_of(request), act="process_packs", site="set__site_id", pk=pk))


def address(pack: Pack, line: int | None = None) -> str:
    """The page of a pack on the bench, with one line under the hand."""
    return reverse("bench", args=[pack.pk]) + (f"?line={line}" if line else "")
