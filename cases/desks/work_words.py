"""The sentences of the page of work."""

from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.desks.work import WorkBoard, WorkLine
from cases.readiness.shelf import moment
from cases.readiness.way import Estimate
from trays.instruments.models import Pack
from trays.processing.models_machines import MachineKind, RunState
from trays.processing.queries import MachineLine
from trays.web.wording import sitetime

MOST_NAMED = 3
HOUR = 60


def says_words(board: WorkBoard) -> tuple[str, str, str]:
    """What the page comes to, in three parts: how much, what is late (to be set bold), what machines do."""
    if not board.lines:
        return _("Nothing is waiting: every pack is on its shelf or in use."), "", _machines_words(board)
    much = ngettext(
        "%(n)d pack to do, first those wanted first.", "%(n)d packs to do, first those wanted first.",
        len(board.lines),
    )  # fmt: skip
    return much % {"n": len(board.lines)}, _late_words(board), _machines_words(board)


def _late_words(board: WorkBoard) -> str:
    late = board.late
    if not late:
        return ""
    named = ", ".join(f"{line.pack.set.code}, {minutes_words(line.late)}" for line in late[:MOST_NAMED])
    if len(late) > MOST_NAMED:
        named = _("%(named)s and %(n)d more") % {"named": named, "n": len(late) - MOST_NAMED}
    words = ngettext("%(n)d is late: %(named)s.", "%(n)d are late: %(named)s.", len(late))
    return words % {"n": len(late), "named": named}


def _machines_words(board: WorkBoard) -> str:
    parts = []
    for line in board.machines:
        name = line.machine.name
        run = line.run
        if line.machine.out_since is None and line.owed:
            tests = ", ".join(rule.name for rule in line.owed)
            parts.append(_("%(machine)s waits for its tests: %(tests)s.") % {"machine": name, "tests": tests})
        if run is None or line.machine.kind != MachineKind.STERILIZER:
            continue
        count = board.releasable(run)
        if run.state == RunState.RUNNING and line.until is not None and count:
            words = ngettext(
                "%(n)d can be released when %(machine)s ends at %(time)s.",
                "%(n)d can be released when %(machine)s ends at %(time)s.",
                count,
            )
            time = sitetime(line.until, "time")
            parts.append(words % {"n": count, "machine": name, "time": time})
        elif run.state == RunState.ENDED and count:
            words = ngettext(
                "%(n)d waits for a decision in %(machine)s.",
                "%(n)d wait for a decision in %(machine)s.",
                count,
            )
            parts.append(words % {"n": count, "machine": name})
    return " ".join(parts)


def minutes_words(minutes: int) -> str:
    """ "24 minutes", "3 h 05 min", "2 days"."""
    if minutes < 2 * HOUR:
        return ngettext("%(n)d minute", "%(n)d minutes", minutes) % {"n": minutes}
    if minutes < 48 * HOUR:
        return _("%(h)d h %(m)02d min") % {"h": minutes // HOUR, "m": minutes % HOUR}
    days = minutes // (24 * HOUR)
    return ngettext("%(n)d day", "%(n)d days", days) % {"n": days}


def late_words(line: WorkLine) -> str:
    """Beside the act: by how much it is late, or that it will be."""
    if line.late:
        return _("%(minutes)s late") % {"minutes": minutes_words(line.late)}
    if line.comes_late and line.estimate is not None:
        return _("will be late")
    return ""


def where_words(line: WorkLine, at: datetime) -> str:
    """ "Washer 1, ends 07:31"; "received, since 06:15": where it is, since when."""
    if line.run is not None:
        return _run_words(line)
    since = line.pack.since
    where = str(line.pack.get_state_display()).lower()
    if line.pack.state in Pack.IN_USE:
        where = f"{where}, {line.pack.place.name}"
    if since is None:
        return where
    same_day = sitetime(since, "day") == sitetime(at, "day")
    return _("%(where)s, since %(time)s") % {
        "where": where,
        "time": sitetime(since, "time" if same_day else "near"),
    }


def _run_words(line: WorkLine) -> str:
    if line.run is None:
        return ""
    name = line.run.machine.name
    if line.run_ends is not None:
        return _("%(machine)s, ends %(time)s") % {
            "machine": name, "time": sitetime(line.run_ends, "time"),
        }  # fmt: skip
    if line.run.state == RunState.FILLING:
        return _("%(machine)s, being filled") % {"machine": name}
    return _("%(machine)s, ended") % {"machine": name}


def ready_words(found: Estimate, at: datetime) -> str:
    """ "ready by 13:45", with the day where it is another."""
    if found.at is None:
        return _("nobody can say when")
    ready = moment(found.at)
    today = sitetime(ready, "day") == sitetime(at, "day")
    return _("ready by %(time)s") % {"time": sitetime(ready, "time" if today else "near")}


def machine_words(line: MachineLine) -> str:
    """What is in a machine."""
    if line.machine.out_since is not None:
        return _("out of use since %(time)s: %(reason)s") % {
            "time": sitetime(line.machine.out_since, "day"),
            "reason": line.machine.out_reason,
        }
    if line.run is None:
        return _("empty")
    load = _("load %(n)s") if line.machine.kind == MachineKind.STERILIZER else _("run %(n)s")
    words = [load % {"n": line.run.number}, line.run.programme.name]
    words.append(ngettext("%(n)d pack", "%(n)d packs", line.packs) % {"n": line.packs})
    if line.run.implants:
        words.append(_("implants in it"))
    return ", ".join(words)


def until_words(line: MachineLine) -> str:
    """Until when a machine is not free."""
    if line.machine.out_since is not None:
        return "–"
    if line.until is not None:
        return _("until %(time)s") % {"time": sitetime(line.until, "time")}
    return str(line.run.get_state_display()).lower() if line.run is not None else _("free")
