"""The table of refused scans."""

from datetime import timedelta

from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.refusals.models import RefusedScan
from trays.web.table import CodeColumn, Column, Lines, SecondLineColumn, WhenColumn
from trays.web.wording import sitetime

SHOWN = 120
# A device's clock that differs by less is right enough.
_CLOCKS_AGREE = timedelta(seconds=60)
# Pictures of the control characters stand 0x2400 above them.
_PICTURES = 0x2400


def shown(raw: bytes) -> str:
    """The bytes as one line of text: control characters as their pictures, what is no text as ``\\xNN``."""
    text = raw[: SHOWN * 4].decode("utf-8", "backslashreplace")
    line = "".join(_sign(letter) for letter in text)
    return line if len(line) <= SHOWN else line[: SHOWN - 1] + "…"


def _sign(letter: str) -> str:
    if letter < " ":
        return chr(_PICTURES + ord(letter))
    if letter == "\x7f":
        return "␡"
    return letter if letter.isprintable() else f"\\u{ord(letter):04x}"


class RefusedLines(Lines):
    """Refused scans, newest first."""

    name = gettext_lazy("Refused scans")
    row_head = "at"
    looks = ("flat", "mid")
    empty = (
        gettext_lazy("No scan was refused here in the time that scans are kept."),
        gettext_lazy("Nothing to do."),
    )

    at = WhenColumn(verbose_name=gettext_lazy("When"), form="near")
    sentence = SecondLineColumn(verbose_name=gettext_lazy("Why"), under="code", orderable=False)
    raw = CodeColumn(verbose_name=gettext_lazy("What came"), orderable=False)
    how = Column(verbose_name=gettext_lazy("By"), accessor="get_how_display", orderable=False)
    where = Column(verbose_name=gettext_lazy("Where"), accessor="page", orderable=False, empty_values=())
    by = Column(verbose_name=gettext_lazy("Who"), accessor="by__name")
    device_at = Column(verbose_name=gettext_lazy("Device’s clock"), orderable=False, empty_values=())

    def render_raw(self, value: bytes) -> str:
        text = shown(bytes(value))
        return format_html('<span class="code long">{}</span>', text) if text else _("not kept")

    def value_raw(self, value: bytes) -> str:
        return shown(bytes(value))

    def render_where(self, record: RefusedScan) -> str:
        return " · ".join(word for word in (record.workstation, record.page) if word) or "–"

    def render_device_at(self, record: RefusedScan) -> str:
        if record.device_at is None:
            return "–"
        if abs(record.device_at - record.at) < _CLOCKS_AGREE:
            return _("agrees")
        return sitetime(record.device_at)
