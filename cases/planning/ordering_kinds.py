"""What a question about the order of a day's lists is made of: sets, cases, lists."""

from __future__ import annotations

from dataclasses import dataclass

from cases.planning.turnaround import Round


@dataclass(frozen=True, slots=True)
class SetKind:
    """Sets of one kind: the minute from which each is there (`turnaround.AT_ONCE`: all day), and their way.

    A way with a queue has its machines to itself.
    """

    ready: tuple[int, ...]
    way: Round


@dataclass(frozen=True, slots=True)
class ListCase:
    """One case of a list.

    Attributes
    ----------
    minutes : int
        Its length, at least 1.
    needs : tuple of tuples of int
        Per set that it needs, the kinds that would do, by index, in order of preference.
    fixed : bool
        It keeps its position: it has begun, or somebody wants it so.
    """

    minutes: int
    needs: tuple[tuple[int, ...], ...] = ()
    fixed: bool = False


@dataclass(frozen=True, slots=True)
class DayList:
    """One list as it stands: the start of each position (ascending), and the case that is there now."""

    starts: tuple[int, ...]
    cases: tuple[ListCase, ...]
