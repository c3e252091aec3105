"""What follows for a loan from what happens to its packs and units: made sterile, in use, decontaminated.

Pure. A loan is in use from the first pack of it that was opened, or sealed unit that was used, until the last
opened pack is clean again. It is processed while all its packs stand ready.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from trays.instruments.models import PackState
from trays.instruments.ready import READY_STATES
from trays.loans.ways import LoanStatus, way

P = PackState
S = LoanStatus

FOLLOWING = (S.CHECKED, S.PROCESSED, S.IN_USE, S.DECONTAMINATED)
"""The statuses among which a loan follows its packs by itself."""
FOLLOWED = (S.ARRIVED, *FOLLOWING, S.COUNTED_OUT)
"""Those that may be left because of what happened to its packs."""
OPENED = (P.OPENED, P.USED)
CLEAN = (P.CLEANED, P.ASSEMBLED, P.PACKED, P.IN_LOAD, *READY_STATES)


@dataclass(frozen=True, slots=True)
class Happened:
    """One thing that happened: a pack came to a state, or (`pack` None) a sealed unit was used."""

    at: datetime
    pack: int | None = None
    state: str = ""


def follow(packs: Collection[int], events: Iterable[Happened]) -> list[tuple[str, datetime]]:
    """The statuses that a checked loan went through, each with its moment, in order.

    `packs` are those of its accepted sets, `events` in the order in which they were taken down. Packs that
    have not moved are as they arrived: not ready.
    """
    ready: set[int] = set()
    dirty: set[int] = set()
    status: str = S.CHECKED
    found: list[tuple[str, datetime]] = []
    for event in events:
        used = event.pack is None
        if event.pack is not None:
            _take(event.pack, event.state, ready, dirty)
        after = _status(status, set(packs), ready, dirty, used)
        if after != status:
            found.append((after, event.at))
            status = after
    return found


def steps_missing(
    status: str, recorded: Sequence[str], followed: Sequence[tuple[str, datetime]]
) -> list[tuple[str, datetime]]:
    """The steps that still have to be written for a loan in this status.

    `recorded` are the statuses written by following so far. Where the record agrees with the beginning of
    what followed, the rest is missing; where it does not, the loan is only brought to where it stands.
    """
    if not followed or status not in FOLLOWED:
        return []
    if [after for after, _at in followed[: len(recorded)]] == list(recorded):
        rest = list(followed[len(recorded) :])
    else:
        rest = [followed[-1]]
    if status == S.ARRIVED:
        # A set still waits for its check; only that another is in use cannot wait.
        return [step for step in rest[-1:] if step[0] == S.IN_USE]
    return _passable(status, rest)


def _passable(status: str, rest: Iterable[tuple[str, datetime]]) -> list[tuple[str, datetime]]:
    kept = []
    for after, at in rest:
        if way(status, after):
            kept.append((after, at))
            status = after
    return kept


def _take(pack: int, state: str, ready: set[int], dirty: set[int]) -> None:
    if state in READY_STATES:
        ready.add(pack)
    else:
        ready.discard(pack)
    if state in OPENED:
        dirty.add(pack)
    elif state in CLEAN:
        dirty.discard(pack)


def _status(status: str, packs: set[int], ready: set[int], dirty: set[int], used: bool) -> str:
    if dirty or used:
        return S.IN_USE
    if packs and packs <= ready:
        return S.PROCESSED
    if status == S.IN_USE:
        # Sealed units alone stay in use until they are counted.
        return S.DECONTAMINATED if packs else S.IN_USE
    return S.CHECKED if status == S.PROCESSED else status
