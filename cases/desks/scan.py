"""The scan field of every page: goes to what a scan names, or says what it is; keeps what it refuses."""

import base64
import binascii
from datetime import datetime
from typing import Any, cast

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from cases.desks.finding import Finder, Finding, refuse
from trays.identifiers.meaning import Kind, read
from trays.refusals.models import RefusedScan
from trays.refusals.services import scan_refuse
from trays.staff.access import home_site
from trays.staff.models import Person
from trays.stock.queries import site_day
from trays.web.page import go_to
from trays.web.scanbox import SCAN_LIMIT_BYTES, ScanForm, scan_answer

READ_SHOWN = 80


@require_POST
def scan(request: HttpRequest) -> HttpResponse:
    """One scan: to a page, to an answer, or refused with a sentence and kept."""
    by = cast(Person, request.user)
    at = timezone.now()
    form = ScanForm(request.POST)
    if not form.is_valid():
        code, sentence = _fault(form)
        found = refuse(code, sentence, _("One label at a time."))
        return _answer(request, found, raw=_as_sent(request), page="", read="", by=by, at=at)
    site = home_site(by)
    reading = read(form.scan, today=site_day(site, at) if site else timezone.localdate(at))
    found = Finder(by=by, at=at).find(reading)
    if found.url and not found.refused:
        return go_to(request, found.url)
    shown = reading.text[:READ_SHOWN] if found.keep_raw and reading.kind != Kind.UNREADABLE else ""
    return _answer(
        request,
        found,
        raw=form.scan if found.keep_raw else b"",
        page=form.made_on,
        read=_printable(shown),
        by=by,
        at=at,
    )


def _answer(
    request: HttpRequest, found: Finding, *, raw: bytes, page: str, read: str, by: Person, at: datetime
) -> HttpResponse:
    before = _refused_before(by)
    if found.refused:
        scan_refuse(raw=raw, code=found.code, sentence=_printable(found.what), by=by, page=page, at=at)
    return scan_answer(
        request,
        accepted=not found.refused,
        what=_printable(found.what),
        why=_printable(found.why),
        next_step=_printable(found.next_step),
        at=at,
        read=read,
        before=before,
        acts=[{"label": link.label, "url": link.url} for link in found.links],
    )


def _refused_before(by: Person) -> dict[str, Any] | None:
    row = RefusedScan.objects.filter(by=by).order_by("-at").only("sentence", "at").first()
    return {"what": row.sentence, "at": row.at} if row else None


def _fault(form: ScanForm) -> tuple[str, str]:
    """The code and sentence of the first thing wrong with what arrived."""
    for errors in form.errors.as_data().values():
        for error in errors:
            return error.code or "scan-broken", str(error.messages[0])
    return "scan-broken", _("The scan did not arrive whole. Scan again.")


def _as_sent(request: HttpRequest) -> bytes:
    """What arrived, as far as it goes, for the row that is kept."""
    raw = request.POST.get("raw", "")[: SCAN_LIMIT_BYTES * 2]
    if raw:
        try:
            return base64.b64decode(raw[: len(raw) // 4 * 4])[:SCAN_LIMIT_BYTES]
        except (binascii.Error, ValueError):
            return raw.encode("utf-8", "replace")[:SCAN_LIMIT_BYTES]
    return request.POST.get("code", "")[:SCAN_LIMIT_BYTES].encode("utf-8", "replace")[:SCAN_LIMIT_BYTES]


def _printable(text: str) -> str:
    """The text with a blank for every control character: it goes to a page and into a row."""
    return "".join(letter if letter.isprintable() else " " for letter in text)
