"""Import pages: the files handed in, a new one, one file with its faults, templates."""

from typing import Any, cast

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from cases.desks.forms_imports import HandInForm
from cases.desks.importing import (
    import_apply,
    import_apply_later,
    import_begin,
    import_check,
    import_set_aside,
    import_try,
    kind_named,
    kinds_for,
    may_import,
)
from cases.desks.imports import BY_CODE
from cases.desks.tables_imports import FaultLines, RunLines
from cases.desks.tasks import apply_waiting, check_waiting
from trays.exchange import templates, writer
from trays.exchange.models import ImportRun
from trays.staff.models import Person
from trays.web.errors import NotAllowed, NotThere, Refusal
from trays.web.page import answer_page, go_to, wants_part
from trays.web.table import answer_table

# Smaller files are checked while the person waits; larger ones by the worker.
AT_ONCE_BYTES = 1024 * 1024
AT_ONCE_ROWS = 5_000
UNDER_WAY = (ImportRun.State.CHECKING, ImportRun.State.APPLYING)
TEMPLATES = {
    "csv": (templates.template_csv, writer.CSV_TYPE),
    "xlsx": (templates.template_xlsx, writer.XLSX_TYPE),
}


def _importer(request: HttpRequest) -> Person:
    """The person, if there is any kind of file that they may import."""
    by = cast(Person, request.user)
    if not kinds_for(by):
        raise NotAllowed(
            "not-your-act",
            _("Your role does not include importing files."),
            _("Hand the file to the coordinator, the stores or sterile services."),
        )
    return by


def _runs(by: Person) -> QuerySet[ImportRun]:
    """What the person may see: their own files; the system's keeper sees all."""
    rows = ImportRun.objects.select_related("by")
    return rows if by.is_superuser else rows.filter(by=by)


def _run(by: Person, pk: int) -> ImportRun:
    run = _runs(by).filter(pk=pk).first()
    if run is None or run.kind not in BY_CODE or not may_import(by=by, kind=kind_named(run.kind)):
        raise NotThere(
            "not-there",
            _("There is nothing here that you may see."),
            _("Go back to the files that you have handed in."),
        )
    return run


@require_safe
def imports(request: HttpRequest) -> HttpResponse:
    """The files handed in, and the templates."""
    by = _importer(request)
    runs = _runs(by)
    waiting = runs.filter(state=ImportRun.State.CHECKED).count()
    context = {"waiting": waiting, "kinds": kinds_for(by)}
    return answer_table(request, RunLines(runs), "cases/desks/imports.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def import_new(request: HttpRequest) -> HttpResponse:
    """Hand in a file: checked at once if it is small, else by the worker."""
    by = _importer(request)
    if request.method != "POST":
        wished = {"kind": request.GET.get("kind", "")}
        return _new_page(request, HandInForm(by=by, initial=wished), by)
    form = HandInForm(request.POST, request.FILES, by=by)
    if form.is_valid():
        given = form.cleaned_data
        try:
            run = _taken(given["kind"], given["file"], by)
        except Refusal as refusal:
            form.add_error("file", refusal.as_error())
        else:
            return go_to(request, "import-run", run.pk)
    return _new_page(request, form, by, status=422)


def _new_page(request: HttpRequest, form: HandInForm, by: Person, status: int = 200) -> HttpResponse:
    wished = form["kind"].value() or kinds_for(by)[0].code
    kind = BY_CODE.get(str(wished))
    columns = templates.guide_rows(kind) if kind is not None and may_import(by=by, kind=kind) else []
    context = {"form": form, "kind": kind, "columns": columns}
    return answer_page(request, "cases/desks/import_new.html", context, status=status)


def _taken(kind: Any, file: Any, by: Person) -> ImportRun:
    facts = {"kind": kind, "file": file.file, "file_name": file.name, "by": by, "at": timezone.now()}
    if file.size <= AT_ONCE_BYTES:
        return import_check(**facts)
    run = import_begin(**facts)
    check_waiting.enqueue(run.pk)
    return run


@require_http_methods(["GET", "HEAD", "POST"])
def import_run(request: HttpRequest, pk: int) -> HttpResponse:
    """One file: how far its check is, its faults, and what can be done with it."""
    by = _importer(request)
    run = _run(by, pk)
    if request.method == "POST":
        return _act(request, run, by)
    if wants_part(request) and request.htmx.target == "progress":  # type: ignore[attr-defined]
        if run.state not in UNDER_WAY:
            return HttpResponse(status=204, headers={"HX-Refresh": "true", "Cache-Control": "no-store"})
        return answer_page(request, "cases/desks/_import_progress.html", {"run": run})
    faults = run.faults.count()
    context = {
        "run": run,
        "kind": kind_named(run.kind),
        "faults": faults,
        "again": _applied_before(run),
        "states": ImportRun.State,
        "under_way": run.state in UNDER_WAY,
        "at_once": run.rows_read <= AT_ONCE_ROWS,
    }
    table = FaultLines(run.faults.order_by("number", "pk"))
    return answer_table(request, table, "cases/desks/import_run.html", context, file_name=f"faults-{run.pk}")


def _applied_before(run: ImportRun) -> ImportRun | None:
    """The same file, to the letter, that was applied earlier as the same kind."""
    same = ImportRun.objects.filter(kind=run.kind, digest=run.digest, state=ImportRun.State.APPLIED)
    return same.exclude(pk=run.pk).exclude(digest="").order_by("-pk").first()


def _act(request: HttpRequest, run: ImportRun, by: Person) -> HttpResponse:
    act = request.POST.get("act")
    if act == "apply" and run.rows_read > AT_ONCE_ROWS:
        import_apply_later(run=run, by=by, at=timezone.now())
        apply_waiting.enqueue(run.pk, by.pk)
    elif act == "try":
        made = import_try(run=run, by=by, at=timezone.now())
        messages.info(
            request,
            _("Tried and taken back: %(rows)s rows would record %(made)s things. Nothing is saved.")
            % {"rows": run.rows_read, "made": made.total()},
        )
    elif act == "apply":
        made = import_apply(run=run, by=by, at=timezone.now())
        messages.success(
            request,
            _("Applied: %(rows)s rows, %(made)s things recorded.")
            % {"rows": run.rows_read, "made": made.total()},
        )
    elif act == "set-aside":
        import_set_aside(run=run, by=by, at=timezone.now())
        messages.success(request, _("Set aside; nothing of the file was applied."))
    return go_to(request, "import-run", run.pk)


@require_safe
def import_template(request: HttpRequest, kind: str, ext: str) -> HttpResponse:
    """A template of one kind of file."""
    by = _importer(request)
    chosen = kind_named(kind)
    if ext not in TEMPLATES:
        raise Http404
    if not may_import(by=by, kind=chosen):
        raise NotThere(
            "not-there", _("There is nothing here that you may see."), _("Choose a kind from the list.")
        )
    make, content_type = TEMPLATES[ext]
    answer = HttpResponse(make(chosen), content_type=content_type)
    answer["Content-Disposition"] = f'attachment; filename="{chosen.code}.{ext}"'
    return answer
