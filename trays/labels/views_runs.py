"""Pages of a run of labels: how far it is, what it came to, its files; and the picture of a preview."""

from __future__ import annotations

from typing import cast

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from trays.labels.kinds import LabelKind
from trays.labels.models import LabelRun
from trays.labels.preview import preview_png, symbol_words
from trays.labels.queries import kinds_for, runs_for
from trays.labels.services import FILES_KEPT, label_order
from trays.labels.sources import source_of
from trays.labels.views import pdf_answer
from trays.staff.access import sites_for
from trays.staff.models import Person
from trays.symbols.payload import Carrier
from trays.web.errors import NotAllowed, NotThere, Refusal
from trays.web.numbers import whole
from trays.web.page import answer_page, wants_part

# More labels than any sheet has.
MOST_ON_A_SHEET = 2000


def _run(request: HttpRequest, pk: int) -> LabelRun:
    run = runs_for(cast(Person, request.user)).filter(pk=pk).first()
    if run is None:
        raise _not_there()
    return run


def _not_there() -> NotThere:
    return NotThere(
        "not-there",
        _("There is nothing here that you may see."),
        _("Go back to the page of labels."),
    )


@require_safe
def label_run(request: HttpRequest, pk: int) -> HttpResponse:
    """One run: its progress while it is made, then its files and what got no label."""
    run = _run(request, pk)
    under_way = run.state in (LabelRun.State.WAITING, LabelRun.State.MAKING)
    if wants_part(request) and request.htmx.target == "progress":  # type: ignore[attr-defined]
        if not under_way:
            return HttpResponse(status=204, headers={"HX-Refresh": "true", "Cache-Control": "no-store"})
        return answer_page(request, "trays/labels/_progress.html", {"run": run})
    context = {
        "run": run,
        "under_way": under_way,
        "words": source_of(LabelKind(run.kind)).words,
        "files": [] if under_way else run.files.defer("pdf"),
        "symbols": symbol_words({(bool(a), float(b), float(c)) for a, b, c in run.symbols}),
        "kept_days": FILES_KEPT.days,
    }
    return answer_page(request, "trays/labels/run.html", context)


@require_safe
def label_file(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """One file of a run that is made whole."""
    run = _run(request, pk)
    file = run.files.filter(number=number).first() if run.state == LabelRun.State.MADE else None
    if file is None:
        raise _not_there()
    return pdf_answer(bytes(file.pdf), f"labels-{run.kind}-{run.pk}-{number}")


@require_safe
def label_preview(request: HttpRequest, pk: int, kind: str, stock: str) -> HttpResponse:
    """The picture of a page of labels as it would be printed, dot for dot; nothing is recorded.

    `with` in the query names more rows of the same sheet, `start` its first free position, `page` which page.
    """
    by, given = cast(Person, request.user), request.GET
    others = [_number(word, 0) for word in given.get("with", "").split(",")[:MOST_ON_A_SHEET]]
    site = None
    if given.get("site") and kind in {source.kind for source in kinds_for(by)}:
        act = source_of(LabelKind(kind)).act
        # No address needs a sign that cannot be written; PostgreSQL refuses some.
        code = given["site"][:40] if given["site"].isprintable() else ""
        site = sites_for(by=by, act=act).filter(code=code).first()
        if site is None:
            raise _not_there()
    try:
        order = label_order(
            by=by,
            kind=kind,
            ids=[pk, *others],
            stock=stock,
            carrier=given.get("carrier", Carrier.MATRIX),
            start=_number(given.get("start", ""), 1),
            site_id=site.pk if site else None,
        )
        picture = preview_png(order, _number(given.get("page", ""), 0))
    except NotAllowed:
        raise
    except (IndexError, Refusal):
        # An address that names no row, stock or page, or a row that gets no label, has no picture.
        raise _not_there() from None
    return HttpResponse(picture, content_type="image/png", headers={"Cache-Control": "no-store"})


def _number(word: str, usual: int) -> int:
    number = whole(word)
    return usual if number is None else number
