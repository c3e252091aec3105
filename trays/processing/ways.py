"""The states of a pack and the ways between them: the one table, for the database, the services and the
pages.

A way has a kind. *On* is the round as it is meant to go. *Back* is a step that has to be done again. *Fact*
is what has happened all the same: a pack opened that nobody had issued, a tray that comes back used though
the record has it on a shelf. Facts are taken down, not refused. *Out* leaves the round, *in* comes back to
it.
"""

from enum import StrEnum
from itertools import product

from trays.instruments.models import PackState

S = PackState


class Way(StrEnum):
    """What kind of step it is."""

    ON = "on"
    BACK = "back"
    FACT = "fact"
    OUT = "out"
    IN = "in"


_ON = (
    (S.USED, S.RECEIVED),
    (S.RECEIVED, S.CLEANED),
    (S.CLEANED, S.ASSEMBLED),
    (S.ASSEMBLED, S.PACKED),
    (S.PACKED, S.IN_LOAD),
    (S.IN_LOAD, S.RELEASED),
    (S.QUARANTINED, S.RELEASED),
    (S.RELEASED, S.STORED),
    (S.RELEASED, S.ISSUED),
    (S.STORED, S.ISSUED),
    (S.ISSUED, S.OPENED),
    (S.OPENED, S.USED),
    (S.OPENED, S.RECEIVED),
)
_BACK = (
    # Dirty at inspection, or its wash found to have failed.
    (S.CLEANED, S.RECEIVED),
    (S.ASSEMBLED, S.RECEIVED),
    # The list is opened again, the wrap is torn before the load.
    (S.ASSEMBLED, S.CLEANED),
    (S.PACKED, S.CLEANED),
    # Taken off a load that has not begun; a load that failed is packed anew.
    (S.IN_LOAD, S.PACKED),
    (S.IN_LOAD, S.CLEANED),
    (S.QUARANTINED, S.CLEANED),
    (S.QUARANTINED, S.RECEIVED),
    # Expired, wet, dropped, torn: to the start.
    (S.RELEASED, S.RECEIVED),
    (S.STORED, S.RECEIVED),
    (S.ISSUED, S.RECEIVED),
    # Returned unopened.
    (S.ISSUED, S.STORED),
)
_FINAL = (S.CONDEMNED,)
_OUTSIDE = (S.REPAIR, S.LENT, S.LOST, S.SENT_BACK)
_AROUND = tuple(state for state in S if state not in (*_OUTSIDE, *_FINAL))

WAYS: dict[tuple[str, str], Way] = {}
for _pair in _ON:
    WAYS[_pair] = Way.ON
for _pair in _BACK:
    WAYS[_pair] = Way.BACK
for _state in _OUTSIDE:
    WAYS[_state, S.RECEIVED] = Way.IN
for _pair in product((*_AROUND, *_OUTSIDE), (S.QUARANTINED, *_OUTSIDE, S.CONDEMNED)):
    if _pair[0] != _pair[1]:
        WAYS.setdefault(_pair, Way.OUT)
for _pair in product(_AROUND, (S.RECEIVED, S.OPENED, S.USED)):
    if _pair[0] != _pair[1]:
        WAYS.setdefault(_pair, Way.FACT)


def way(before: str, after: str) -> Way | None:
    """What kind of step leads from one state to the other; None where none does."""
    return WAYS.get((before, after))


def ways_on(before: str) -> tuple[str, ...]:
    """The states that follow in the round as it is meant to go."""
    return tuple(after for start, after in _ON if start == before)
