"""The implant record of a case: as a page, on paper, as files."""

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from cases.usage import queries
from cases.usage.exporting import record_data, record_heads, record_lines
from cases.usage.models import Mark
from cases.usage.models_closing import CaseClosing
from cases.usage.pages import case_of, surround
from cases.usage.queries_record import closing_waits, signings
from cases.usage.reading import implants_of
from cases.usage.sheet import implant_record_pdf
from cases.usage.views_signing import seats_of
from trays.exchange.writer import CSV_TYPE, write_csv
from trays.web.page import answer_page


@require_safe
def record(request: HttpRequest, pk: int) -> HttpResponse:
    """All of it in words, as it stands now."""
    case = case_of(request, pk)
    seen = implants_of(case)
    closing = CaseClosing.objects.select_related("senior", "by").filter(case=case).first()
    marks = [one for one in queries.marks_of(case) if one.cleared_at is None]
    context = {
        **surround(request, case, timezone.now()),
        "seen": seen,
        "seats": seats_of(case, signings(case)),
        "failures": queries.failures_of(case),
        "marks": marks,
        "late": any(one.kind == Mark.Kind.LATE for one in marks),
        "closing": closing,
        "waits": () if closing is not None else closing_waits(case),
    }
    return answer_page(request, "cases/usage/record.html", context)


@require_safe
def record_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """The sheet, filled from the record; with `blank`, the form to write on."""
    case = case_of(request, pk)
    blank = "blank" in request.GET
    pdf = implant_record_pdf(case, at=timezone.now(), blank=blank)
    name = "implant-sheet" if blank else "implant-record"
    return _file(pdf, "application/pdf", f"{name}-{case.reference}.pdf")


@require_safe
def record_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """A line for each piece."""
    case = case_of(request, pk)
    return _file(write_csv(record_lines(case), record_heads()), CSV_TYPE, f"implants-{case.reference}.csv")


@require_safe
def record_json(request: HttpRequest, pk: int) -> HttpResponse:
    """All of it, for another program."""
    case = case_of(request, pk)
    data = JsonResponse(record_data(case), json_dumps_params={"ensure_ascii": False, "indent": 1})
    return _file(data.content, "application/json", f"implants-{case.reference}.json")


def _file(content: bytes, kind: str, name: str) -> HttpResponse:
    safe = "".join(letter if letter.isalnum() or letter in "-." else "-" for letter in name)
    return HttpResponse(
        content,
        content_type=kind,
        headers={"Content-Disposition": f'attachment; filename="{safe}"', "Cache-Control": "no-store"},
    )
