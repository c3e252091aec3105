"""The scan field of every page: goes to what a scan names, or says what it is; keeps what it refuses."""

import base64
import binascii
from collections.abc import Iterable
from datetime import date
from typing import Any, cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from cases.desks import halves
from cases.desks.finding import Finder
from cases.desks.found import Finding, refuse
from cases.desks.working import acted, address_of
from trays.identifiers.meaning import Kind, Reading, choose, read
from trays.parties.queries import own_locations, site_day
from trays.refusals.queries import last_refused
from trays.refusals.services import Where, scan_refuse
from trays.scanners.device import name_device, this_workstation
from trays.scanners.keys import without_marks
from trays.scanners.models import Workstation
from trays.scanners.probe import TEST_GTIN, Known, Probe, Told, probe
from trays.staff.access import home_site, may, sites_for
from trays.staff.models import Person
from trays.web.page import go_to, wants_part
from trays.web.scanbox import SCAN_LIMIT_BYTES, Ask, ScanForm, in_base64, scan_answer

READ_SHOWN = 80


@require_POST
def scan(request: HttpRequest) -> HttpResponse:
    """One scan: to a page, to an answer, to a question, or refused with a sentence and kept."""
    here = this_workstation(request)
    desk = _Desk(request, here)
    answer = desk.give_up() if "give_up" in request.POST else desk.take(ScanForm(request.POST))
    if here is not None:
        # The cookie that names this device is as long-lived as its use.
        name_device(answer, here, secure=request.is_secure())
    return answer


class _Desk:
    """One request to the scan field: who, when, at which workstation."""

    def __init__(self, request: HttpRequest, here: Workstation | None) -> None:
        self.request = request
        self.by = cast(Person, request.user)
        self.at = timezone.now()
        self.here = here
        self.site = here.site if here is not None else home_site(self.by)
        self.where = Where()

    def take(self, form: ScanForm) -> HttpResponse:
        valid = form.is_valid()
        self.where = Where(
            page=form.cleaned_data.get("page", ""),
            workstation=self.here.name if self.here is not None else "",
            site=self.site,
            how=form.cleaned_data.get("how", ""),
            device_at=form.cleaned_data.get("device_at"),
            client_key=form.cleaned_data.get("client_key"),
        )
        if not valid:
            code, sentence = _fault(form)
            return self.answer(refuse(code, sentence, _("One label at a time.")), raw=_as_sent(self.request))
        tested = self.tested(form)
        return tested if tested is not None else self.looked_up(form)

    # What was read

    def looked_up(self, form: ScanForm) -> HttpResponse:
        raw = form.scan
        if self.here is not None and self.where.how != "camera":
            raw = without_marks(raw, prefix=self.here.prefix, suffix=self.here.suffix)
        reading = self.chosen(form, self.reading(raw))
        try:
            whole = self.with_its_other_half(reading)
        except halves.Differ as differ:
            step = _("Scan the code on the same box, or give up waiting for it.")
            return self.answer(refuse("halves-differ", str(differ), step), raw=raw, reading=reading)
        if whole is None:
            return self.waits_for_item(reading)
        found = Finder(by=self.by, at=self.at).find(whole)
        self.wait_for_the_rest(whole, found)
        where = self.where
        found = acted(
            found, whole, request=self.request, path=where.page, by=self.by, at=self.at, key=where.client_key
        )
        if found.stays:
            return self.stay(found, raw=raw, reading=whole)
        if found.url and not found.refused:
            for note in _notes(whole):
                messages.info(self.request, note)
            return go_to(self.request, found.url)
        return self.answer(found, raw=raw, reading=whole)

    def stay(self, found: Finding, *, raw: bytes, reading: Reading) -> HttpResponse:
        """The page of work has done its act: its parts are loaded anew, without scripts all of it."""
        answer = self.answer(found, raw=raw, reading=reading)
        if not wants_part(self.request):
            say = messages.warning if found.refused else messages.success
            say(self.request, " ".join(filter(None, (found.what, found.why, found.next_step))))
            return go_to(self.request, address_of(self.where.page))
        answer["HX-Trigger"] = "worked"
        return answer

    def reading(self, raw: bytes) -> Reading:
        """What the bytes claim to be, by what is known of this workstation's scanner."""
        camera = self.where.how == "camera"
        here = None if camera else self.here
        return read(
            raw,
            today=self.today,
            separators=(here.separator,) if here is not None and here.separator else (),
            # A camera hands over every byte of the symbol.
            proven=camera or (here is not None and here.sends_separators),
            # Nobody else numbers sheets under our own location numbers.
            own_prefixes=own_locations(),
            # Whoever scans the digits of a retail symbol here wants the item.
            gtin_wanted=True,
        )

    def chosen(self, form: ScanForm, reading: Reading) -> Reading:
        """The reading that the person has picked, where there was a choice."""
        picked: int | None = form.cleaned_data["choice"]
        if picked is None or picked >= len(reading.choices):
            return reading
        return choose(reading, picked, today=self.today)

    @property
    def today(self) -> date:
        return site_day(self.site, self.at) if self.site else timezone.localdate(self.at)

    # Halves of a label

    def with_its_other_half(self, reading: Reading) -> Reading | None:
        """The reading, joined with the half that waits where it is the other one; None if it must wait."""
        side = halves.side_of(reading)
        half = halves.waiting(self.request, at=self.at)
        if half is not None and side and side != half.side:
            whole = halves.joined(self.reading(half.raw), reading, today=self.today)
            if whole is not None:
                halves.let_go(self.request)
                return whole
        return None if side == halves.REST else reading

    def waits_for_item(self, reading: Reading) -> HttpResponse:
        half = halves.Half(halves.REST, reading.raw, _printable(reading.say(_)), self.at)
        halves.keep_waiting(self.request, half)
        found = Finding(
            what=_("This is one half of a label: it names no item."),
            next_step=_("Scan the other code of the same box, the one with the item number."),
        )
        return self.answer(found, raw=reading.raw, reading=reading)

    def wait_for_the_rest(self, reading: Reading, found: Finding) -> None:
        """An item without lot or serial may have them in a second code; any other scan ends that."""
        half = halves.waiting(self.request, at=self.at)
        if halves.side_of(reading) == halves.ITEM and not found.refused:
            words = _printable(found.what)
            halves.keep_waiting(self.request, halves.Half(halves.ITEM, reading.raw, words, self.at))
        elif half is not None and half.side == halves.ITEM:
            halves.let_go(self.request)

    def give_up(self) -> HttpResponse:
        halves.let_go(self.request)
        return self.answer(Finding(what=_("Given up: no other half of a label is waited for.")))

    # The scanner test

    def tested(self, form: ScanForm) -> HttpResponse | None:
        """What the scanner did to the test symbol; None if it is another code."""
        if TEST_GTIN.encode() not in form.scan and form.made_on != reverse("scanner-test"):
            return None
        given = form.cleaned_data
        told = Told(
            end=given["end"],
            longest_gap_ms=given["gap"],
            caps=given["caps"] == "1",
            positions=given["positions"],
            by_keys=given["how"] == "scanner",
        )
        here = self.here
        names = Known.__dataclass_fields__
        known = Known(**{name: getattr(here, name) for name in names}) if here is not None else Known()
        found = probe(form.scan, told, known)
        return self.probe_answer(found) if found is not None else None

    def probe_answer(self, found: Probe) -> HttpResponse:
        here = self.here
        act = "set_up_scanners"
        mine = (
            may(by=self.by, act=act, site_id=here.site_id)
            if here is not None
            else sites_for(by=self.by, act=act).exists()
        )
        what = (
            _("The scanner changes what it reads: see below.")
            if found.changes
            else _("The scanner sends codes as it should.")
        )
        return scan_answer(
            self.request,
            accepted=not found.changes,
            what=what,
            at=self.at,
            probe=found,
            may_set=mine,
            workstation=here,
        )

    # The answer

    def answer(self, found: Finding, *, raw: bytes = b"", reading: Reading | None = None) -> HttpResponse:
        kept = raw if found.keep_raw else b""
        before = _refused_before(self.by)
        if found.refused:
            scan_refuse(
                raw=kept,
                code=found.code,
                sentence=_printable(found.what),
                by=self.by,
                where=self.where,
                at=self.at,
            )
        shown = reading is not None and found.keep_raw and reading.kind is not Kind.UNREADABLE
        return scan_answer(
            self.request,
            accepted=not found.refused,
            what=_printable(found.what),
            why=_printable(found.why),
            next_step=_printable(found.next_step),
            at=self.at,
            read=_printable(reading.text[:READ_SHOWN]) if shown and reading is not None else "",
            notes=_notes(reading) if shown and reading is not None else (),
            before=before,
            acts=[{"label": link.label, "url": link.url} for link in found.links],
            ask=Ask(in_base64(raw), self.where.page, self.where.how, found.ways) if found.ways else None,
        )


def _notes(reading: Reading) -> Iterable[str]:
    """What was taken for granted while reading, in sentences."""
    return [_printable(note.words.say(_)) for note in reading.assumed]


def _refused_before(by: Person) -> dict[str, Any] | None:
    row = last_refused(by_id=by.pk)
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
