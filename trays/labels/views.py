"""The page of labels: choosing them, seeing one, making them."""

from __future__ import annotations

from collections.abc import Iterable
from http import HTTPStatus
from typing import Any, cast
from uuid import uuid4

from django.http import HttpRequest, HttpResponse, QueryDict
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from trays.labels.cautions import cautions
from trays.labels.forms import OTHER_STOCK, USUAL_STOCK, LabelFilter, LabelForm
from trays.labels.kinds import Label, LabelKind, Refused
from trays.labels.preview import preview_of
from trays.labels.queries import groups, kinds_for, labels_of, runs_for, stocks_at
from trays.labels.services import MOST_IN_ONE_FILE, Order, label_order, order_begin, order_print
from trays.labels.setup import USUAL_DPI
from trays.labels.sources import Group, Source, source_of
from trays.labels.tables import LabelTable, label_lines
from trays.labels.tasks import make_labels
from trays.places.choose import SiteChoice, site_choice
from trays.staff.models import Person
from trays.symbols.payload import Carrier
from trays.web.errors import NotAllowed, Refusal
from trays.web.page import go_to
from trays.web.table import PER_PAGE_MOST, answer_table

# What a browser printed a kind of label on last: the setup of its printer.
_REMEMBERED = "label_setup"
_RUNS_SHOWN = 5


@require_safe
def labels(request: HttpRequest) -> HttpResponse:
    """Choose a kind, tick the lines, choose the stock."""
    by = cast(Person, request.user)
    filters = LabelFilter(request.GET, kinds=_kinds(by))
    kind = LabelKind(filters.chosen.get("kind") or filters.kinds[0][0])
    choice = site_choice(request, act=source_of(kind).act, by=by)
    initial = {
        "kind": kind.value,
        "site": choice.site.code,
        "of": filters.chosen.get("of", ""),
        "client_key": uuid4(),
        "start": 1,
        **_remembered(request, kind),
    }
    form = LabelForm(initial=initial, stocks=stocks_at(choice.site.pk))
    return _page(request, choice, form, filters, kind=kind, of=initial["of"])


def _kinds(by: Person) -> tuple[Source, ...]:
    kinds = kinds_for(by)
    if not kinds:
        raise NotAllowed(
            "not-your-page",
            _("Your role does not include this page."),
            _("Go to your own pages, or have your roles changed."),
        )
    return kinds


def _remembered(request: HttpRequest, kind: LabelKind) -> dict[str, Any]:
    usual = {"stock": USUAL_STOCK.get(kind, OTHER_STOCK), "dpi": USUAL_DPI, "carrier": Carrier.MATRIX}
    return {**usual, **request.session.get(_REMEMBERED, {}).get(kind, {})}


def _remember(request: HttpRequest, form: LabelForm) -> None:
    given = {name: form.cleaned_data[name] for name in ("stock", "dpi", "carrier") if form.cleaned_data[name]}
    kept = request.session.get(_REMEMBERED, {})
    request.session[_REMEMBERED] = {**kept, form.cleaned_data["kind"]: given}


@require_POST
def labels_paper(request: HttpRequest) -> HttpResponse:
    """The ticked labels as one PDF, more as a run of files; or a look at the first of them.

    The page comes back with what was typed when something is wrong.
    """
    by = cast(Person, request.user)
    kinds = _kinds(by)
    given = request.POST.get("kind", "")
    kind = LabelKind(given) if given in {source.kind for source in kinds} else kinds[0].kind
    request.GET = cast(Any, _address(request.POST, kind))
    choice = site_choice(request, act=source_of(kind).act, by=by)
    form = LabelForm(request.POST, stocks=stocks_at(choice.site.pk))
    filters = LabelFilter(request.GET, kinds=kinds)
    looked_at = None
    if form.is_valid():
        try:
            order = _order(form, by, choice)
            if request.POST.get("act") == "preview":
                looked_at = preview_of(order)
            else:
                _remember(request, form)
                return _made(request, order, whole=not form.cleaned_data["every"])
        except Refusal as refusal:
            if refusal.status == HTTPStatus.FORBIDDEN:
                raise
            _tell(form, refusal)
    of = form.data.get("of", "")
    status = HTTPStatus.OK if looked_at else HTTPStatus.UNPROCESSABLE_ENTITY
    return _page(
        request, choice, form, filters, kind=kind, of=of, extra={"looked_at": looked_at}, status=status
    )


def _address(data: QueryDict, kind: LabelKind) -> QueryDict:
    """The page's own address again, for its links."""
    query = QueryDict(mutable=True)
    query.update({"site": data.get("site", ""), "kind": kind.value})
    return query


def _order(form: LabelForm, by: Person, choice: SiteChoice) -> Order:
    given = form.cleaned_data
    kind = LabelKind(given["kind"])
    ids: Iterable[int] = form.ticked
    if given["every"]:
        ids = _every(kind, choice.site.pk, given["of"])
    return label_order(
        by=by,
        kind=kind,
        ids=ids,
        stock=form.setup_name,
        carrier=form.carrier_name,
        start=form.first,
        site_id=choice.site.pk if given["every"] or given["site"] else None,
        client_key=given["client_key"],
    )


def _every(kind: LabelKind, site_id: int, of: str) -> list[int]:
    """All rows of the page: of the form's site, kind, and set or store."""
    part = _part(groups(kind, site_ids=[site_id]), of)
    rows = source_of(kind).at_sites([site_id], part.ids if part else None)
    return list(rows.values_list("pk", flat=True))


def _made(request: HttpRequest, order: Order, *, whole: bool) -> HttpResponse:
    """One file at once; more by the worker, whose progress the next page shows."""
    at = timezone.now()
    if len(order.ids) > MOST_IN_ONE_FILE:
        run = order_begin(order=order, at=at)
        make_labels.enqueue(run.pk)
        return go_to(request, "label-run", run.pk)
    printed = order_print(order=order, at=at, whole=whole)
    if printed.refused:
        return go_to(request, "label-run", printed.run_id)
    return pdf_answer(printed.pdf, f"labels-{order.source.kind}")


def pdf_answer(pdf: bytes, name: str) -> HttpResponse:
    return HttpResponse(
        pdf,
        content_type="application/pdf",
        headers={"Content-Disposition": f'attachment; filename="{name}.pdf"', "Cache-Control": "no-store"},
    )


def _tell(form: LabelForm, refusal: Refusal) -> None:
    """The refusal on the page. Rows that get no label lose their tick: pressing again prints the others."""
    refused: tuple[Refused, ...] = refusal.facts.get("refused", ())
    for row in refused:
        form.add_error(None, f"{row.called}: {row.why}")
    form.add_error(None, refusal.as_error())
    form.ticked -= {row.row_id for row in refused}


def _part(parts: Iterable[Group], code: str) -> Group | None:
    return next((one for one in parts if one.code == code), None)


def _page(
    request: HttpRequest,
    choice: SiteChoice,
    form: LabelForm,
    filters: LabelFilter,
    *,
    kind: LabelKind,
    of: str,
    extra: dict[str, Any] | None = None,
    status: int = 200,
) -> HttpResponse:
    source = source_of(kind)
    parts = groups(kind, site_ids=[choice.site.pk])
    part = _part(parts, of)
    rows = labels_of(kind, site_ids=[choice.site.pk], ids=part.ids if part else None)
    context = {
        "site": choice.site,
        "sites": choice.links,
        "form": form,
        "kind": kind.value,
        "kinds": filters.links("kind", filters.kinds),
        "groups": parts,
        "of": part.code if part else "",
        "says": _says(rows),
        "cautions": cautions(kind),
        "ready": sum(1 for row in rows if not isinstance(row, Refused)),
        "group_label": source.group_words[0],
        "group_all": source.group_words[1],
        "copied": kind in (LabelKind.PACK, LabelKind.INSTRUMENT),
        "runs": runs_for(cast(Person, request.user))[:_RUNS_SHOWN],
        **(extra or {}),
    }
    table = LabelTable(label_lines(rows, form.ticked or _all_of(rows, part)))
    return answer_table(
        request, table, "trays/labels/labels.html", context, per_page=PER_PAGE_MOST, status=status
    )


def _all_of(rows: Iterable[Label | Refused], part: Group | None) -> set[int]:
    """Who names one set or store wants all of it: its lines come ticked."""
    return {row.row_id for row in rows} if part else set()


def _says(rows: Iterable[Label | Refused]) -> str:
    made = refused = 0
    for row in rows:
        refused += isinstance(row, Refused)
        made += not isinstance(row, Refused)
    if not made + refused:
        return _("Nothing to label here.")
    says = ngettext("%(count)s label can be made", "%(count)s labels can be made", made) % {"count": made}
    if not refused:
        return f"{says}."
    cannot = ngettext("%(count)s cannot, with its reason", "%(count)s cannot, each with its reason", refused)
    return f"{says}; {cannot % {'count': refused}}."
