"""The server's side of the scan field: what a scanner or a person sent, as bytes, and the answer to it."""

import base64
import binascii
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from trays.web.numbers import whole
from trays.web.page import ANSWER_PLACE, answer_page

SCAN_LIMIT_BYTES = 4096
# The ways by which a code comes in, as a page tells them; a form without scripts tells none.
WAYS = ("scanner", "camera", "pasted", "typed")
_DAWN = datetime(1970, 1, 1, tzinfo=UTC)
_LATEST_MS = 32_503_680_000_000
# Base64 is four letters for three bytes; anything longer cannot be within the limit.
_RAW_LIMIT_LETTERS = (SCAN_LIMIT_BYTES + 2) // 3 * 4

_EMPTY = _("Nothing was read. Scan again, or type the code.")
_TOO_LONG = _("This is longer than any label: more than 4 kB. Scan one label at a time.")
_BROKEN = _("The scan did not arrive whole. Scan again.")


class RawText(forms.CharField):
    """Text exactly as it was sent: separators and other control characters are part of a scan."""

    default_validators: list[Any] = []

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(strip=False, required=False, **kwargs)
        # A null character is what a scanner may send too; the reader of codes judges it, not the form.
        self.validators = []


class ScanForm(forms.Form):
    """One scan: ``code`` as typed, or ``raw``, the scanner's bytes in base64, which goes first.

    Valid, it gives ``scan`` (bytes, at least one and at most 4096), ``typed``, ``made_on`` and ``key``. What
    a page tells beside it (``how``, ``device_at``, ``choice``, and for the scanner test ``end``, ``gap``,
    ``caps``, ``positions``) is passed over where it is nonsense: no scan is lost for that.
    """

    code = RawText()
    raw = RawText()
    page = RawText()
    client_key = RawText()
    how = RawText()
    device_at = RawText()
    choice = RawText()
    end = RawText()
    gap = RawText()
    caps = RawText()
    positions = RawText()

    def clean_raw(self) -> bytes:
        return _from_base64(self.cleaned_data["raw"])

    def clean_client_key(self) -> UUID | None:
        try:
            return UUID(self.cleaned_data["client_key"])
        except ValueError:
            return None

    def clean_how(self) -> str:
        how: str = self.cleaned_data["how"]
        return how if how in WAYS else ""

    def clean_device_at(self) -> datetime | None:
        milliseconds = _whole(self.cleaned_data["device_at"], _LATEST_MS)
        return None if milliseconds is None else _DAWN + timedelta(milliseconds=milliseconds)

    def clean_choice(self) -> int | None:
        return _whole(self.cleaned_data["choice"], 1000)

    def clean_gap(self) -> int | None:
        return _whole(self.cleaned_data["gap"], 60_000)

    def clean_positions(self) -> str:
        try:
            return _from_base64(self.cleaned_data["positions"]).decode("utf-8", "replace")
        except forms.ValidationError:
            return ""

    def clean_page(self) -> str:
        """A path on this site, or "": it only tells where the scan was made."""
        page: str = self.cleaned_data["page"]
        usable = (
            page.startswith("/") and not page.startswith("//") and len(page) <= 500 and page.isprintable()
        )
        return page if usable else ""

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if self.errors:
            return given
        typed = not given.get("raw")
        scan: bytes = given.get("code", "").encode("utf-8", "surrogateescape") if typed else given["raw"]
        if not scan.strip():
            raise forms.ValidationError(_EMPTY, code="scan-empty")
        if len(scan) > SCAN_LIMIT_BYTES:
            raise forms.ValidationError(_TOO_LONG, code="scan-too-long")
        given["scan"] = scan
        given["typed"] = typed
        return given

    @property
    def scan(self) -> bytes:
        """The scan as bytes, with every control character."""
        value: bytes = self.cleaned_data["scan"]
        return value

    @property
    def typed(self) -> bool:
        return bool(self.cleaned_data["typed"])

    @property
    def made_on(self) -> str:
        """The path of the page the scan was made on, or ""."""
        return str(self.cleaned_data["page"])

    @property
    def key(self) -> UUID | None:
        """The device's own key of this scan, the same when it is sent again."""
        key: UUID | None = self.cleaned_data["client_key"]
        return key


def _from_base64(text: str) -> bytes:
    if len(text) > _RAW_LIMIT_LETTERS:
        raise forms.ValidationError(_TOO_LONG, code="scan-too-long")
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError) as broken:
        raise forms.ValidationError(_BROKEN, code="scan-broken") from broken


def _whole(text: str, most: int) -> int | None:
    number = whole(text)
    return number if number is not None and number <= most else None


def in_base64(scan: bytes) -> str:
    """Bytes as a page sends them back, for the second part of a scan that needs one."""
    return base64.b64encode(scan).decode("ascii")


@dataclass(frozen=True, slots=True)
class Ask:
    """A scan that can be read in several ways: its bytes in base64, and each way in words, in order."""

    raw: str
    page: str
    how: str
    ways: tuple[str, ...]


def scan_answer(
    request: HttpRequest,
    *,
    accepted: bool,
    what: str,
    why: str = "",
    next_step: str = "",
    at: datetime | None = None,
    read: str = "",
    notes: Iterable[str] = (),
    before: Mapping[str, Any] | None = None,
    acts: list[dict[str, str]] | None = None,
    ask: Ask | None = None,
    status: int = 200,
    **more: Any,
) -> HttpResponse:
    """The answer to a scan, for its fixed place: what was read, then the judgement, why, and what to do.

    ``notes`` are what was taken for granted while reading; ``before`` is the last refused scan (what, at),
    shown below in one line; ``acts`` are links (label, url); ``ask`` has a person choose between readings.
    ``more`` goes to the template, for answers with parts of their own.
    """
    context = {
        "accepted": accepted,
        "what": what,
        "why": why,
        "next_step": next_step,
        "at": at,
        "read": read,
        "notes": list(notes),
        "before": before,
        "acts": acts or [],
        "ask": ask,
        "tone": "asked" if ask else "accepted" if accepted else "refused",
        **more,
    }
    answer = answer_page(request, "scan_answer.html", context, part="parts/scan_reply.html", status=status)
    answer["HX-Retarget"] = f"#{ANSWER_PLACE}"
    answer["HX-Reswap"] = "innerHTML"
    return answer
