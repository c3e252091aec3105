"""A few pages for the tests of the shared web parts, in a site of their own."""

import time
from datetime import date
from typing import Any

from django import forms
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.template import engines
from django.urls import include, path
from django.utils import timezone

from trays.web.errors import NotThere, Refusal, Unreadable
from trays.web.page import answer_page, go_to
from trays.web.scanbox import ScanForm, scan_answer
from trays.web.table import (
    ActColumn,
    CodeColumn,
    Column,
    Lines,
    NumberColumn,
    VerdictColumn,
    WhenColumn,
    answer_table,
)

AROUND = {
    "nav": [
        {"label": "Stock", "url": "/stock/", "current": True},
        {"label": "Reorder", "url": "/reorder/", "current": False},
    ],
    "person_line": {"name": "H. Marrowby", "role": "stores"},
    "site_line": "Larkmere · made-up data",
}


class UnitLines(Lines):
    name = "Units"
    row_head = "lot"
    looks = ("flat", "mid")
    empty = ("No units of this family.", "Receive some.")

    lot = CodeColumn()
    size = Column()
    use_by = WhenColumn(form="day")
    units = NumberColumn()
    verdict = VerdictColumn(chance="chance", target="target", orderable=False)
    act = ActColumn(linkify=lambda record: f"/unit/{record['lot']}/", by="deadline")
    note = Column()

    def row_class(self, record: Any) -> str:
        return "needs" if record["units"] == 0 else ""

    def group(self, record: Any) -> str:
        return f"Bay {record['bay']}"

    def render_note(self, value: str) -> str:
        return engines["django"].from_string("<b>{{ v }}</b>").render({"v": value})


def unit_rows(count: int) -> list[dict[str, Any]]:
    return [
        {
            "lot": f"L40{n:03d}",
            "size": n % 9 + 1,
            "use_by": date(2027, 1 + n % 12, 3),
            "units": n % 4,
            "verdict": "short",
            "chance": 0.914,
            "target": 0.99,
            "act": "Order 1",
            "deadline": None,
            "note": "=1+1" if n == 0 else "salt & water",
            "bay": n // 10,
        }
        for n in range(count)
    ]


class CaseForm(forms.Form):
    reference = forms.CharField(label="Local reference", max_length=12, help_text="No names.")
    side = forms.ChoiceField(choices=[("left", "left"), ("right", "right")], widget=forms.RadioSelect)
    late = forms.BooleanField(label="Late entry", required=False)
    kept = forms.CharField(widget=forms.HiddenInput, required=False)


def whole(request: HttpRequest, **context: Any) -> HttpResponse:
    return answer_page(request, "sample.html", {**AROUND, **context})


@login_not_required
def stock(request: HttpRequest) -> HttpResponse:
    return whole(request)


@login_not_required
def bare(request: HttpRequest) -> HttpResponse:
    return answer_page(request, "base.html")


@login_not_required
def table(request: HttpRequest) -> HttpResponse:
    lines = UnitLines(unit_rows(int(request.GET.get("rows", "120"))))
    return answer_table(request, lines, "sample.html", AROUND, file_name="units of today")


@login_not_required
def case(request: HttpRequest) -> HttpResponse:
    form = CaseForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        return go_to(request, "stock")
    return whole(request, form=form)


@login_not_required
def scan(request: HttpRequest) -> HttpResponse:
    form = ScanForm(request.POST)
    if not form.is_valid():
        return scan_answer(request, accepted=False, what=str(form.non_field_errors() or form.errors))
    if form.scan.startswith(b"SLOW"):
        time.sleep(0.6)
    return scan_answer(
        request,
        accepted=True,
        what=f"Read {form.scan.hex()}",
        why=f"made on {form.made_on}, {'typed' if form.typed else 'scanned'}, {form.cleaned_data['how']}",
        at=timezone.now(),
    )


@login_not_required
def refuse(request: HttpRequest, kind: str) -> HttpResponse:
    kinds = {"held": Refusal, "unreadable": Unreadable, "not-there": NotThere}
    raise kinds[kind](kind, "This pack is held for case 1182.", "Take the next one.")


@login_not_required
def fail(request: HttpRequest) -> HttpResponse:
    raise ZeroDivisionError


@login_not_required
def own_cache(request: HttpRequest) -> HttpResponse:
    return HttpResponse("kept", headers={"Cache-Control": "private, max-age=60"})


urlpatterns = [
    path("stock/", stock, name="stock"),
    path("bare/", bare),
    path("table/", table),
    path("case/", case),
    path("scan/", scan, name="scan"),
    path("out/", stock, name="sign-out"),
    path("refuse/<slug:kind>/", refuse),
    path("fail/", fail),
    path("kept/", own_cache),
    path("", include("trays.web.urls")),
]
handler400 = "trays.web.views.bad_request"
handler403 = "trays.web.views.forbidden"
handler404 = "trays.web.views.not_found"
handler500 = "trays.web.views.server_error"
