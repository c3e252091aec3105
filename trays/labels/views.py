"""Pages of labels: choosing them, and the paper."""

from collections.abc import Iterable
from http import HTTPStatus
from typing import Any, cast

from django.http import HttpRequest, HttpResponse, QueryDict
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from trays.labels.cautions import cautions
from trays.labels.forms import KINDS, LabelFilter, LabelForm
from trays.labels.kinds import Label, LabelKind, Refused, Stock
from trays.labels.queries import Group, groups, labels_of
from trays.labels.services import labels_print, labels_refused
from trays.labels.tables import LabelTable, label_lines
from trays.places.choose import SiteChoice, site_choice
from trays.staff.access import sites_for
from trays.staff.models import Person
from trays.web.errors import Refusal
from trays.web.filters import FilterLink
from trays.web.table import PER_PAGE_MOST, answer_table


@require_safe
def labels(request: HttpRequest) -> HttpResponse:
    """Choose a kind, tick the lines, choose the stock."""
    by = cast(Person, request.user)
    choice = site_choice(request, act="print_labels", by=by)
    filters = LabelFilter(request.GET)
    kind = LabelKind(filters.chosen.get("kind", LabelKind.PACK))
    of = filters.chosen.get("of", "")
    form = LabelForm(
        initial={"kind": kind.value, "site": choice.site.code, "of": of, "stock": Stock.ROLL_300, "start": 1}
    )
    return _page(request, choice, form, kind=kind, of=of, kinds=filters.links("kind", _kinds()))


@require_POST
def labels_paper(request: HttpRequest) -> HttpResponse:
    """The ticked labels as one PDF; the page again, with what was typed, when something is wrong."""
    by = cast(Person, request.user)
    form = LabelForm(request.POST)
    if form.is_valid():
        try:
            pdf = _made(form, by)
        except Refusal as refusal:
            if refusal.status != HTTPStatus.CONFLICT:
                raise
            form.add_error(None, refusal.as_error())
        else:
            if pdf is not None:
                return _paper(pdf, f"labels-{form.cleaned_data['kind']}")
    return _again(request, by, form)


def _made(form: LabelForm, by: Person) -> bytes | None:
    """The paper; None where some of the ticked get no label: they lose their tick and the form their reason.

    Pressing again then prints the others: nobody finds out at the printer that one is missing.
    """
    kind, stock = form.cleaned_data["kind"], form.cleaned_data["stock"]
    if form.cleaned_data["every"]:
        form.ticked = _every(form, by)
    refused = labels_refused(by=by, kind=kind, ids=form.ticked, stock=stock)
    rest = form.ticked - {row.row_id for row in refused}
    if refused and rest:
        for row in refused:
            form.add_error(None, f"{row.called}: {row.why}")
        form.add_error(None, _("These get no label. Make the others by pressing the button again."))
        form.ticked = rest
        return None
    return labels_print(
        by=by, kind=kind, ids=form.ticked, stock=stock, start=form.first, at=timezone.now()
    ).pdf


def _every(form: LabelForm, by: Person) -> set[int]:
    """The lines of the page that can be made: of the form's site, kind, and set or store."""
    kind = LabelKind(form.cleaned_data["kind"])
    sites = sites_for(by=by, act="print_labels").filter(code=form.cleaned_data["site"])
    site_ids = list(sites.values_list("pk", flat=True))
    part = _part(groups(kind, site_ids=site_ids), form.cleaned_data["of"])
    rows = labels_of(kind, site_ids=site_ids, ids=part.ids if part else None)
    return {row.row_id for row in rows if not isinstance(row, Refused)}


def _part(parts: Iterable[Group], code: str) -> Group | None:
    return next((one for one in parts if one.code == code), None)


def _paper(pdf: bytes, name: str) -> HttpResponse:
    return HttpResponse(
        pdf,
        content_type="application/pdf",
        headers={"Content-Disposition": f'attachment; filename="{name}.pdf"', "Cache-Control": "no-store"},
    )


def _again(request: HttpRequest, by: Person, form: LabelForm) -> HttpResponse:
    """The page of a form that was refused: the same lines, ticked as they were."""
    query = QueryDict(mutable=True)
    query.update({"site": form.data.get("site", ""), "kind": form.data.get("kind", "")})
    request.GET = cast(Any, query)
    choice = site_choice(request, act="print_labels", by=by)
    given = form.data.get("kind", "")
    kind = LabelKind(given) if given in list(LabelKind) else LabelKind.PACK
    kinds = LabelFilter(request.GET).links("kind", _kinds())
    return _page(
        request,
        choice,
        form,
        kind=kind,
        of=form.data.get("of", ""),
        kinds=kinds,
        status=HTTPStatus.UNPROCESSABLE_ENTITY,
    )


def _page(
    request: HttpRequest,
    choice: SiteChoice,
    form: LabelForm,
    *,
    kind: LabelKind,
    of: str,
    kinds: Iterable[FilterLink],
    status: int = 200,
) -> HttpResponse:
    parts = groups(kind, site_ids=[choice.site.pk])
    part = _part(parts, of)
    rows = labels_of(kind, site_ids=[choice.site.pk], ids=part.ids if part else None)
    context = {
        "site": choice.site,
        "sites": choice.links,
        "form": form,
        "kind": kind.value,
        "kinds": kinds,
        "groups": parts,
        "of": part.code if part else "",
        "says": _says(rows),
        "cautions": cautions(kind),
        "ready": sum(1 for row in rows if not isinstance(row, Refused)),
        **_group_words(kind, parts),
    }
    table = LabelTable(label_lines(rows, form.ticked or _all_of(rows, part)))
    return answer_table(
        request, table, "trays/labels/labels.html", context, per_page=PER_PAGE_MOST, status=status
    )


def _kinds() -> list[tuple[str | None, str]]:
    return [(kind, str(words)) for kind, words in KINDS]


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


def _group_words(kind: LabelKind, parts: Iterable[Group]) -> dict[str, Any]:
    if not parts:
        return {}
    if kind is LabelKind.PACK:
        return {"group_label": _("Packs of one set"), "group_all": _("all sets")}
    return {"group_label": _("Shelves of one store"), "group_all": _("all stores")}
