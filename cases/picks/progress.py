"""How far the picking of a list has come: the state of each line, what comes next, which packs have left."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from cases.picks.kinds import PickRow, PickSheet
from cases.picks.models import PackFor, PickLine, PickList


@dataclass(frozen=True, slots=True)
class Progress:
    """The state of one line: open, picked, issued, opened; `at` and `by` of the last step.

    `pack_id` is the line's pack; None for a unit or consumables. `loose`: consumables, ticked by number.
    """

    state: str
    at: datetime | None
    by: str
    pack_id: int | None
    loose: bool

    @property
    def word(self) -> str:
        return {
            "open": _("to pick"),
            "picked": _("picked"),
            "issued": _("in theatre"),
            "opened": _("opened"),
        }[self.state]


@dataclass(frozen=True, slots=True)
class Picking:
    """All lines of a list by their numbers, and what follows."""

    rows: Mapping[int, PickRow]
    lines: Mapping[int, Progress]
    next: PickRow | None
    next_place: str

    def count(self, *states: str) -> int:
        return sum(1 for one in self.lines.values() if one.state in states)

    @property
    def picked(self) -> int:
        """Lines that have been ticked."""
        return len(self.lines) - self.count("open")

    @property
    def leaving(self) -> int:
        """Packs that are picked and have not left yet."""
        return sum(1 for one in self.lines.values() if one.state == "picked" and one.pack_id is not None)

    @property
    def in_theatre(self) -> tuple[tuple[PickRow, Progress], ...]:
        """Packs that have left and are neither opened nor back."""
        return tuple((self.rows[number], one) for number, one in self.lines.items() if one.state == "issued")


def picking_of(pick_list: PickList, sheet: PickSheet) -> Picking:
    """How far a list is picked (two queries)."""
    had = {
        (row.pack_id, row.round): row
        for row in PackFor.objects.filter(case=pick_list.case_id, returned_at__isnull=True).select_related(
            "issued_by", "opened_by"
        )
    }
    rows = pick_list.lines.select_related("picked_by", "pack").order_by("number")
    lines = {line.number: _progress(line, had) for line in rows}
    places = {row.number: place.name for place in sheet.places for row in place.rows}
    shown = {row.number: row for place in sheet.places for row in place.rows}
    following = next((row for number, row in shown.items() if lines[number].state == "open"), None)
    return Picking(shown, lines, following, places[following.number] if following else "")


def _progress(line: PickLine, had: Mapping[tuple[int, int], PackFor]) -> Progress:
    row = had.get((line.pack_id, line.pack.round)) if line.pack is not None and line.pack_id else None
    if row is not None and row.opened_at is not None:
        by = row.opened_by.name if row.opened_by else ""
        return Progress("opened", row.opened_at, by, line.pack_id, False)
    if row is not None:
        return Progress("issued", row.issued_at, row.issued_by.name, line.pack_id, False)
    by = line.picked_by.name if line.picked_by else ""
    state = "picked" if line.picked_at is not None else "open"
    return Progress(state, line.picked_at, by, line.pack_id, line.pile_id is not None)
