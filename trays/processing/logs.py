"""A machine's temperature log as a table: read whole and refused whole, with the row named.

Columns are known by their heads: one of time, and one or more of temperature in degrees Celsius (one for
each point measured). Times are seconds, `mm:ss`, `hh:mm:ss`, or moments with a day.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median
from typing import BinaryIO
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from trays.exchange.reader import FileRefused, RawRow, open_sheet
from trays.processing.lethality import Reading
from trays.web.errors import Unreadable

MOST_BYTES = 4 * 1024 * 1024
MOST_READINGS = 40_000
COLDEST, HOTTEST = -10.0, 160.0
"""No washer or steam sterilizer is colder or hotter, in degrees Celsius; in Fahrenheit every cycle is."""
GAP_SECONDS = 60.0
"""A log that is silent for so long, and for over three of its own steps, has lost rows."""

_TIME = {"time", "moment", "seconds", "date", "zeit", "heure", "hora"}
_CLOCK = re.compile(r"(?:(\d{1,3}):)?(\d{1,2}):(\d{2}(?:[.,]\d+)?)")
_FAHRENHEIT = re.compile(r"(°\s*f\b|\bdeg(rees)?\s*f\b|\bfahrenheit\b|[\[(]\s*f\s*[\])])")
_CELSIUS = re.compile(
    r"(temp|celsius|°\s*c\b|[\[(]\s*c\s*[\])]|\bprobe\b|\bpoint\b|\bsensor\b|\bdrain\b|\bchamber\b)"
)


@dataclass(frozen=True, slots=True)
class TemperatureLog:
    """The readings in order, the moment of the first where the file says it, and how many points were
    measured.
    """

    readings: tuple[Reading, ...]
    first_at: datetime | None
    points: int


def read_log(file: BinaryIO, *, zone: str) -> TemperatureLog:
    """Read a temperature log from CSV or XLSX.

    `zone` names the clock of moments that carry none.

    Raises Unreadable: "log-unreadable", "log-no-head", "log-fahrenheit", "log-row" (a cell that is no time
    or no temperature), "log-time-repeated", "log-out-of-order", "log-gap", "log-too-short", "log-too-long".
    Each names the row.
    """
    try:
        sheet = open_sheet(file, limit=MOST_BYTES, known=_TIME)
        time_at, points = _columns(sheet.heads)
        rows = list(_rows(sheet.rows, time_at, points, zone))
    except FileRefused as refused:
        raise Unreadable("log-unreadable", str(refused.sentence), str(refused.next_step)) from refused
    _check_order(rows)
    first = rows[0][1]
    start = first.timestamp() if isinstance(first, datetime) else first
    readings = tuple(
        Reading((at.timestamp() if isinstance(at, datetime) else at) - start, min(found), max(found))
        for _number, at, found in rows
    )
    return TemperatureLog(readings, first if isinstance(first, datetime) else None, len(points))


def _columns(heads: Sequence[str]) -> tuple[int, tuple[int, ...]]:
    plain = [head.strip().casefold() for head in heads]
    if any(_FAHRENHEIT.search(head) for head in plain):
        raise Unreadable(
            "log-fahrenheit",
            _("The head of this log says degrees Fahrenheit."),
            _("Have the machine write degrees Celsius; nothing is converted here."),
        )
    times = [n for n, head in enumerate(plain) if re.sub(r"[^a-z]", " ", head).split()[:1] and
             re.sub(r"[^a-z]", " ", head).split()[0] in _TIME]  # fmt: skip
    points = tuple(n for n, head in enumerate(plain) if n not in times and _CELSIUS.search(head))
    if len(times) != 1 or not points:
        raise Unreadable(
            "log-no-head",
            _("Row 1 does not name one column of time and at least one of temperature."),
            _("Give the file a head such as: time, temperature (°C)."),
        )
    return times[0], points


def _rows(
    rows: Iterator[RawRow], time_at: int, points: Sequence[int], zone: str
) -> Iterator[tuple[int, float | datetime, list[float]]]:
    for count, row in enumerate((row for row in rows if any(cell.strip() for cell in row.cells)), start=1):
        if count > MOST_READINGS:
            raise Unreadable(
                "log-too-long",
                _("The log has more than %(most)s readings.") % {"most": f"{MOST_READINGS:,}"},
                _("Give the log of one cycle."),
            )
        cells = [*row.cells, *[""] * (max(time_at, *points) + 1 - len(row.cells))]
        found = [_celsius(cells[n], row.number) for n in points]
        yield row.number, _time(cells[time_at], row.number, zone), found


def _time(text: str, number: int, zone: str) -> float | datetime:
    text = text.strip()
    if clock := _CLOCK.fullmatch(text):
        hours, minutes, seconds = clock.groups()
        return int(hours or 0) * 3600.0 + int(minutes) * 60.0 + float(seconds.replace(",", "."))
    if re.fullmatch(r"\d{1,7}([.,]\d+)?", text):
        return float(text.replace(",", "."))
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise Unreadable(
            "log-row",
            _("Row %(row)s: “%(text)s” is no time.") % {"row": number, "text": text[:40]},
            _("Write seconds, hh:mm:ss, or 2027-03-31 14:20:05."),
            row=number,
        ) from None
    return moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone))


def _celsius(text: str, number: int) -> float:
    plain = text.strip().replace(",", ".")
    if not re.fullmatch(r"-?\d{1,3}(\.\d+)?", plain):
        raise Unreadable(
            "log-row",
            _("Row %(row)s: “%(text)s” is no temperature.") % {"row": number, "text": text.strip()[:40]},
            _("Write degrees Celsius as a number, such as 134.6."),
            row=number,
        )
    value = float(plain)
    if not COLDEST <= value <= HOTTEST:
        raise Unreadable(
            "log-fahrenheit",
            _("Row %(row)s: %(value)s degrees cannot be Celsius in such a machine.")
            % {"row": number, "value": plain},
            _("Have the machine write degrees Celsius; nothing is converted here."),
            row=number,
        )
    return value


def _check_order(rows: Sequence[tuple[int, float | datetime, list[float]]]) -> None:
    if len(rows) < 2:
        raise Unreadable(
            "log-too-short", _("The log has fewer than two readings."), _("Give the log of the whole cycle.")
        )
    if len({isinstance(at, datetime) for _number, at, _found in rows}) > 1:
        number = next(n for n, at, _ in rows if isinstance(at, datetime) != isinstance(rows[0][1], datetime))
        raise Unreadable(
            "log-row",
            _("Row %(row)s writes its time in another way than the rows before.") % {"row": number},
            _("Write all times in one way."),
            row=number,
        )
    seconds = [at.timestamp() if isinstance(at, datetime) else at for _number, at, _found in rows]
    steps = [after - before for before, after in zip(seconds, seconds[1:], strict=False)]
    usual = median(step for step in steps) if steps else 0.0
    for (number, _at, _found), step in zip(rows[1:], steps, strict=True):
        if step == 0:
            raise Unreadable(
                "log-time-repeated",
                _("Row %(row)s has the same time as the row before.") % {"row": number},
                _("Export the log again; each reading has a time of its own."),
                row=number,
            )
        if step < 0:
            raise Unreadable(
                "log-out-of-order",
                _("Row %(row)s is earlier than the row before.") % {"row": number},
                _("Export the log again, in order of time."),
                row=number,
            )
        if step > GAP_SECONDS and step > 3 * usual:
            raise Unreadable(
                "log-gap",
                _("Before row %(row)s the log is silent for %(seconds)s seconds.")
                % {"row": number, "seconds": f"{step:.0f}"},
                _("Export the whole log; a stretch that nobody measured counts for nothing."),
                row=number,
            )
