"""Error laws: the table in force, and what the site's own outcomes have taught since.

Three layers. A planner's own outcomes by a method shrink to what the other planners' outcomes by that method
say, and those shrink to the table. How strongly a planner shrinks is fitted to all groups of the site.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from cases.forecasts.published import published
from cases.planning import learning, sizing
from cases.planning.learning import DEFAULT_STRENGTH, ENOUGH_OUTCOMES, KEEP, Floats, Group, Ints
from cases.planning.learning_pairs import Association, associate
from cases.planning.learning_scores import predicted

# Slot, method, planner (None: nobody was named).
GroupKey = tuple[str, str, int | None]

Tables = Mapping[tuple[str, str], tuple[tuple[float, ...], str]]


@dataclass(frozen=True, slots=True)
class Foretold:
    """One outcome of a slot whose size had been predicted. `error` is used minus predicted, in sizes."""

    slot: str
    method: str
    planner: int | None
    error: int
    reference: str


@dataclass(frozen=True, slots=True)
class ErrorLaw:
    """Chances of used minus predicted size, from -h to +h (odd length, sum 1), and what they rest on.

    `table` is the law before any outcome, `source` names it. `own` outcomes of this planner by this method
    and `others` of everybody else's have been added. `strength` is what the law before his own outcomes
    counts for, in outcomes; `groups` of the site hold enough to tell, and it is `fitted` if there are enough
    of them.
    """

    offsets: tuple[float, ...]
    table: tuple[float, ...]
    source: str
    own: int
    others: int
    strength: float
    fitted: bool
    groups: int

    @property
    def outcomes(self) -> int:
        return self.own + self.others


@dataclass(frozen=True)
class ErrorLaws:
    """The tables in force on one day, with what the site's outcomes (oldest first) taught."""

    tables: Tables
    outcomes: tuple[Foretold, ...]
    _laws: dict[GroupKey, ErrorLaw] = field(default_factory=dict)
    _pairs: dict[tuple[str, str, str], Association] = field(default_factory=dict)

    def of(self, slot: str, method: str, planner: int | None = None) -> ErrorLaw:
        """The law for a slot, a method of prediction, and who predicted."""
        key = (slot, method, planner)
        if key not in self._laws:
            self._laws[key] = self._make(*key)
        return self._laws[key]

    def pair(self, slot_a: str, slot_b: str, method: str) -> Association:
        """Whether the errors of two slots of one case, predicted by one method, go together."""
        key = (min(slot_a, slot_b), max(slot_a, slot_b), method)
        if key not in self._pairs:
            self._pairs[key] = self._associate(*key)
        return self._pairs[key]

    @cached_property
    def strength(self) -> tuple[float, bool]:
        """How strongly a planner's own outcomes shrink, and whether that was fitted."""
        return learning.strength_in_use(list(self._groups.values()))

    @cached_property
    def telling(self) -> int:
        """Groups that hold enough outcomes to tell how strongly to shrink."""
        return sum(int(group.counts.sum()) >= ENOUGH_OUTCOMES for group in self._groups.values())

    def _make(self, slot: str, method: str, planner: int | None) -> ErrorLaw:
        prior = self._prior(slot, method)
        alpha, fitted = self.strength
        others = [
            group.counts
            for (its_slot, its_method, its_planner), group in self._groups.items()
            if (its_slot, its_method) == (slot, method) and its_planner != planner
        ]
        worth = sum((learning.spoken_for(prior, counts, alpha) for counts in others), np.zeros(len(prior)))
        shared = learning.posterior(prior, worth, DEFAULT_STRENGTH)
        own = self._cells.get((slot, method, planner), np.zeros(0, dtype=np.int64))
        law = learning.posterior(shared, learning.faded(own, len(prior)), alpha)
        return ErrorLaw(
            offsets=tuple(law.tolist()),
            table=tuple(prior.tolist()),
            source=self._table(slot, method)[1],
            own=len(own),
            others=int(sum(counts.sum() for counts in others)),
            strength=alpha,
            fitted=fitted,
            groups=self.telling,
        )

    def _table(self, slot: str, method: str) -> tuple[tuple[float, ...], str]:
        return self.tables.get((slot, method)) or published(slot, method)

    def _prior(self, slot: str, method: str) -> Floats:
        return sizing.load_table(self._table(slot, method)[0])

    @cached_property
    def _cells(self) -> dict[GroupKey, Ints]:
        """Each group's errors as cells of its table, oldest first; what lies beyond counts at the end."""
        errors: dict[GroupKey, list[int]] = defaultdict(list)
        for one in self.outcomes:
            errors[one.slot, one.method, one.planner].append(one.error)
        found = {}
        for key, values in errors.items():
            half = len(self._table(*key[:2])[0]) // 2
            found[key] = np.clip(np.array(values, dtype=np.int64), -half, half) + half
        return found

    @cached_property
    def _groups(self) -> dict[GroupKey, Group]:
        found = {}
        for key, cells in self._cells.items():
            prior = self._prior(*key[:2])
            found[key] = Group(prior, np.bincount(cells, minlength=len(prior)))
        return found

    def _associate(self, slot_a: str, slot_b: str, method: str) -> Association:
        """Over the cases that have one outcome of each of the two slots, both predicted by the method."""
        found: dict[str, dict[str, list[tuple[GroupKey, int]]]] = {slot_a: {}, slot_b: {}}
        seen: dict[GroupKey, int] = defaultdict(int)
        for one in self.outcomes:
            if one.method == method and one.slot in found:
                key = (one.slot, one.method, one.planner)
                found[one.slot].setdefault(one.reference, []).append((key, seen[key]))
                seen[key] += 1
        both = [
            (at_a[0], found[slot_b][reference][0])
            for reference, at_a in found[slot_a].items()
            if len(at_a) == 1 and len(found[slot_b].get(reference, ())) == 1
        ]
        laws_a, cells_a = self._before(slot_a, method, [at for at, _ in both])
        laws_b, cells_b = self._before(slot_b, method, [at for _, at in both])
        return associate(laws_a, laws_b, cells_a, cells_b)

    def _before(self, slot: str, method: str, at: Sequence[tuple[GroupKey, int]]) -> tuple[Floats, Ints]:
        """The law before each of these outcomes, (n, k), and what happened, (n,)."""
        prior = self._prior(slot, method)
        alpha = self.strength[0]
        laws = {key: predicted(prior, self._cells[key], alpha, KEEP) for key in {key for key, _ in at}}
        rows = [laws[key][place] for key, place in at]
        cells = [int(self._cells[key][place]) for key, place in at]
        return np.array(rows).reshape(len(rows), len(prior)), np.array(cells, dtype=np.int64)
