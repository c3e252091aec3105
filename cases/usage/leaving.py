"""What leaves the theatre after the last count: the packs in the room, and what each of them lacks."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import F, Max
from django.http import HttpRequest

from cases.bookings.models import Case
from cases.counts.models_counts import Entry
from cases.picks.models import PackFor
from cases.usage.kinds import Sent
from cases.usage.queries_record import packs_in_room
from trays.instruments.models import Pack
from trays.processing.gathering import Trolley
from trays.processing.receiving import Lacking


class Leaving(Trolley):
    """What is said of packs before they leave, in the session of the person who sends them."""

    name = "gathered_leaving"


@dataclass(frozen=True, slots=True)
class LeavingPack:
    """A pack in the room: `counted` is what it lacks by the newest count, `noted` what was said besides."""

    row: PackFor
    counted: tuple[Lacking, ...]
    noted: tuple[Lacking, ...]

    @property
    def pack(self) -> Pack:
        return self.row.pack

    @property
    def opened(self) -> bool:
        return self.row.opened_at is not None

    @property
    def lacking(self) -> tuple[Lacking, ...]:
        """All of it: what was said of a line stands over what was counted."""
        said = {(one.line.pk, one.cause) for one in self.noted}
        return (*self.noted, *(one for one in self.counted if (one.line.pk, one.cause) not in said))

    def sent(self) -> Sent:
        """As the service takes it; what is unopened goes back as it came."""
        return Sent(self.pack, self.lacking if self.opened else ())


def leaving_packs(request: HttpRequest, case: Case) -> tuple[LeavingPack, ...]:
    """The packs in the room with what they lack (four queries)."""
    rows = packs_in_room(case)
    counted = _counted(case)
    noted = Leaving(request).lacking(row.pack for row in rows)
    return tuple(
        LeavingPack(
            row,
            tuple(one for one in counted if one.pack_id == row.pack_id),
            tuple(one for one in noted if one.pack_id == row.pack_id),
        )
        for row in rows
    )


def _counted(case: Case) -> Iterable[Lacking]:
    """Lines of packs that the newest count found fewer of than there should be (two queries)."""
    own = Entry.objects.filter(stage__count__case=case, line__contents_line__isnull=False)
    newest = own.values("line").annotate(newest=Max("pk")).values_list("newest", flat=True)
    rows = Entry.objects.filter(pk__in=list(newest), counted__lt=F("expected"))
    return [
        Lacking(
            row.line.pack_in.pack_id, row.line.contents_line, row.expected - row.counted, "missing"
        )
        for row in rows.select_related(
            "line__pack_in", "line__contents_line__instrument", "line__contents_line__rack_stock"
        )
        if row.line.pack_in is not None and row.line.contents_line is not None
    ]
