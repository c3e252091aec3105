"""The cases in order, each with what it may draw that is in doubt, and which earlier cases can matter to
it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from cases.planning.fit import Joint, joint
from cases.planning.kinds import CaseDemand, PlanningError, Shelf
from cases.planning.parts import Floats
from cases.planning.readings import Outcome, open_out, read
from cases.planning.tracks import Built, Track, build_all


@dataclass(frozen=True)
class Visit:
    """One case at its place in the order.

    Attributes
    ----------
    position : int
        Among all the cases.
    law : Joint
    turns : mapping of item to (Track, taker number)
        The doubtful items that the case may draw.
    part_items : tuple of tuple of str, one per part
        The same items by part.
    known_only : bool
        Leave out the outcomes with a pair that has no rule on file.
    """

    position: int
    law: Joint
    turns: Mapping[str, tuple[Track, int]]
    part_items: tuple[tuple[str, ...], ...]
    known_only: bool = False

    @cached_property
    def outcomes(self) -> tuple[list[Outcome], ...]:
        """The outcomes of each part, as far as they may be missing; listed when first asked for."""
        case = self.law.case
        parts = tuple(read(case, part, lambda item: item not in self.turns) for part in self.law.parts)
        if not self.known_only:
            return parts
        return tuple([o for o in part if not o.unknown] for part in parts)

    @cached_property
    def opened(self) -> tuple[list[Outcome], ...]:
        """The outcomes with second units opened out."""
        return tuple(open_out(part) for part in self.outcomes)

    def moves(self, item: str) -> bool:
        """Whether what was drawn of `item` so far, or is drawn now, makes a difference now or later."""
        track, t = self.turns[item]
        return track.states(t) > 1 or track.states(t + 1) > 1


class Agenda:
    """Cases in the order in which they draw, and their shelf.

    Attributes
    ----------
    laws : list of Joint
    asked : list of mapping of item to float array
        `fit.demand_laws` of each case.

    Raises
    ------
    PlanningError
        Cases out of order, or two with one `ref`.
    """

    def __init__(
        self, cases: Sequence[CaseDemand], shelf: Shelf, laws: Sequence[Joint] | None = None
    ) -> None:
        if len({case.ref for case in cases}) != len(cases):
            raise PlanningError("Two cases have the same reference.")
        for before, after in pairwise(cases):
            if after.start < before.start or after.day < before.day:
                raise PlanningError(f"Case {after.ref} stands after case {before.ref} but starts before it.")
        self._cases = tuple(cases)
        self._shelf = shelf
        self.laws = [joint(case) for case in cases] if laws is None else list(laws)
        self.asked: list[dict[str, Floats]] = [law.asked for law in self.laws]
        self._before: list[set[int]] | None = None
        self._tracks: dict[str, Track] | None = None
        self._built: Built = {}

    def visits(self, positions: Sequence[int]) -> list[Visit]:
        """The cases at `positions` (ascending) as if there were no others."""
        drawn = [{item: len(law) - 1 for item, law in self.asked[p].items()} for p in positions]
        tracks = build_all(self._cases, positions, drawn, self._shelf, self._built)
        if len(positions) == len(self._cases):
            self._tracks = tracks
        turn = dict.fromkeys(tracks, 0)
        found = []
        for position, most in zip(positions, drawn, strict=True):
            doubtful = {}
            for item in sorted(most):
                if item in tracks:
                    track, t = tracks[item], turn[item]
                    turn[item] += 1
                    if not (track.plenty(t) and track.states(t + 1) == 1):
                        doubtful[item] = (track, t)
            found.append(self._visit(position, doubtful))
        return found

    def _visit(self, position: int, doubtful: dict[str, tuple[Track, int]]) -> Visit:
        law = self.laws[position]
        case = law.case
        items = []
        for part in law.parts:
            named = {item for slot in part.slots for item in case.slots[slot].items}
            named |= {option.item for need in part.needs for option in case.needs[need].options}
            items.append(tuple(sorted(named & doubtful.keys())))
        return Visit(position, law, doubtful, tuple(items))

    def circle(self, position: int) -> list[int]:
        """The case itself and all earlier ones that can change what it finds, ascending.

        An earlier case can if it draws on an item that the later one could miss, or can change what such a
        case finds.
        """
        if self._before is None:
            self._before = self._links()
        found, fresh = {position}, [position]
        while fresh:
            new = self._before[fresh.pop()] - found
            found |= new
            fresh += new
        return sorted(found)

    def _links(self) -> list[set[int]]:
        if self._tracks is None:
            self.visits(range(len(self._cases)))
        links: list[set[int]] = [set() for _ in self._cases]
        for track in (self._tracks or {}).values():
            for position, rivals in zip(track.takers, track.rivals(), strict=True):
                links[position].update(track.takers[s] for s in rivals)
        return links
