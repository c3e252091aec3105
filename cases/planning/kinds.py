"""What goes into the planner and what comes out: frozen values, no behaviour beyond checks and sums.

Chances are pure numbers in 0..1, stock is whole units, days are whole day numbers of one calendar (any
origin), times are whole minutes of one clock (any origin).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

NEVER = 10**6
"""A day number that stands for "no expiry date"."""

UNUSED = -1
"""Index of the outcome "this slot is not used"."""

SLACK = 1e-12
"""Slack of every comparison of a chance with a target, so that .9 + .05 + .04 meets .99."""

MOST_UNITS = 2**15
"""More units or sets of one item than this are refused: a sign of a wrong unit, not of a full store."""


MOST_OPTIONS = 60
"""Designs that may be listed for one need."""


class PlanningError(ValueError):
    """Input that no stock could answer: a data error to show, with a plain sentence."""


class TooManyOutcomesError(PlanningError):
    """A case with more combinations than the planner lists (see `fit.MOST_ROWS`)."""


def _check_chance(value: float, what: str) -> None:
    if not (math.isfinite(value) and 0.0 <= value <= 1.0):
        raise PlanningError(f"{what} must be a chance between 0 and 1, not {value!r}.")


@dataclass(frozen=True)
class SlotLaw:
    """One place in the patient that takes one item, and how likely each item is.

    Parameters
    ----------
    name : str
        Word for reports.
    items : tuple of str, length N
        Item ids in order of rank (size). An id may appear in several slots of a case (both sides): demands
        add.
    weights : tuple of float, length N
        Relative chances given that the slot is used; normalised once. Not all zero, none negative.
    use : float
        Chance that the slot is used at all.
    extra : float
        Chance, independent of all else, that a second unit of the same item is opened and wasted.

    Raises
    ------
    PlanningError
        Weights that are negative, not finite, all zero or of another length; a repeated item; a bad chance.
    """

    name: str
    items: tuple[str, ...]
    weights: tuple[float, ...]
    use: float = 1.0
    extra: float = 0.0

    def __post_init__(self) -> None:
        if len(self.items) != len(self.weights):
            raise PlanningError(f"Slot {self.name}: {len(self.items)} items but {len(self.weights)} weights.")
        if len(set(self.items)) != len(self.items):
            raise PlanningError(f"Slot {self.name}: an item is listed twice.")
        if any(not math.isfinite(w) or w < 0 for w in self.weights):
            raise PlanningError(f"Slot {self.name}: weights must be finite and not negative.")
        if self.items and not sum(self.weights) > 0:
            raise PlanningError(f"Slot {self.name}: all weights are zero.")
        _check_chance(self.use, f"Slot {self.name}: use")
        _check_chance(self.extra, f"Slot {self.name}: extra")


@dataclass(frozen=True)
class Rule:
    """Which items of slots `a` and `b` fit each other, by index pairs.

    Pairs in `allow` fit. Pairs in `unknown` have no rule on file: they stay possible, but an outcome that
    contains one is an unknown outcome. Every other pair is refused. A pair in both counts as allowed.
    "Unused" meets every rule. Several rules on one pair of slots: all must hold.

    `weight`, shape (Na, Nb), says by how much each pair is likelier than if the slots were independent;
    empty: they are. Where a slot is unused it counts as 1; several rules' weights multiply.
    """

    a: int
    b: int
    allow: frozenset[tuple[int, int]]
    unknown: frozenset[tuple[int, int]] = frozenset()
    weight: tuple[tuple[float, ...], ...] = ()

    def __post_init__(self) -> None:
        if any(not math.isfinite(w) or w < 0 for row in self.weight for w in row):
            raise PlanningError("The weights of a rule must be finite and not negative.")


@dataclass(frozen=True)
class SetOption:
    """A set design that may meet a need.

    It serves an outcome if, for each `(slot index, item indices)` of `serves`, the drawn index is among the
    item indices or the slot is unused. Empty `serves`: it serves every outcome.
    """

    item: str
    serves: tuple[tuple[int, frozenset[int]], ...] = ()


@dataclass(frozen=True)
class SetNeed:
    """One set that the case must have: the first listed option that serves the outcome and is there is
    taken."""

    name: str
    options: tuple[SetOption, ...]

    def __post_init__(self) -> None:
        if len(self.options) > MOST_OPTIONS:
            raise PlanningError(f"Need {self.name}: more than {MOST_OPTIONS} options.")


@dataclass(frozen=True)
class CaseDemand:
    """A booked case as the planner sees it.

    Parameters
    ----------
    ref : int
        The caller's number for the case; unique among the cases given together.
    slots, rules, needs
        What it may draw. Rules and needs name slots by index.
    start, end : int
        Minutes. Sets are away from `start` to `end` + their turnaround.
    day : int
        Day number of the case, for expiry dates and arrivals.
    list_ref : int, optional
        The theatre list, for stock held for the list.
    """

    ref: int
    slots: tuple[SlotLaw, ...]
    rules: tuple[Rule, ...] = ()
    needs: tuple[SetNeed, ...] = ()
    start: int = 0
    end: int = 0
    day: int = 0
    list_ref: int | None = None

    def __post_init__(self) -> None:
        n = len(self.slots)
        for rule in self.rules:
            if rule.a == rule.b or not (0 <= rule.a < n and 0 <= rule.b < n):
                raise PlanningError(f"Case {self.ref}: a rule names a slot that is not there.")
            rows, columns = len(self.slots[rule.a].items), len(self.slots[rule.b].items)
            if rule.weight and [len(row) for row in rule.weight] != [columns] * rows:
                raise PlanningError(f"Case {self.ref}: a rule's weights are not of the slots' lengths.")
        for need in self.needs:
            for option in need.options:
                if any(not 0 <= slot < n for slot, _ in option.serves):
                    raise PlanningError(f"Case {self.ref}: need {need.name} names a slot that is not there.")
        if self.end < self.start:
            raise PlanningError(f"Case {self.ref}: it ends before it starts.")


@dataclass(frozen=True)
class UnitStock:
    """Units of one item, which do not come back once taken.

    Parameters
    ----------
    free : tuple of int
        Expiry day of each unit that any case may take (inclusive: usable on the day itself; `NEVER` = no
        date).
    held : mapping of case ref to tuple of int
        Expiry days of units held for one case. Only that case may take them.
    list_held : mapping of list ref to tuple of int
        Expiry days of units held for one list. Only its cases may take them.
    arrivals : tuple of int
        Day numbers on which one more unit each is there, free, from the start of that day, without expiry.

    A case takes from its own hold, then from its list's, then free, each first expired first out.
    """

    free: tuple[int, ...] = ()
    held: Mapping[int, tuple[int, ...]] = field(default_factory=dict)
    list_held: Mapping[int, tuple[int, ...]] = field(default_factory=dict)
    arrivals: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        if len(self.free) + len(self.arrivals) > MOST_UNITS:
            raise PlanningError(f"More than {MOST_UNITS} units of one item.")


@dataclass(frozen=True)
class SetHold:
    """Sets held for one case, or for one list, over an interval of minutes. Outside it they are free to
    others."""

    start: int
    end: int
    case_ref: int | None = None
    list_ref: int | None = None
    count: int = 1


@dataclass(frozen=True)
class SetStock:
    """Physical sets of one design, alike, which come back.

    Parameters
    ----------
    count : int
        All that are ready now, held ones included.
    turnaround : int
        Minutes from the end of a case until the set may be used again; ready at the very minute is ready.
    holds : tuple of SetHold
        A held set counts for its case (or the cases of its list) only, during the hold's interval.
    due : tuple of int
        Minutes at which one more set each becomes ready (now in the washer, on loan to come).
    """

    count: int
    turnaround: int
    holds: tuple[SetHold, ...] = ()
    due: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        if not 0 <= self.count <= MOST_UNITS or self.turnaround < 0:
            raise PlanningError("A number of sets and a turnaround must not be negative.")


@dataclass(frozen=True)
class Shelf:
    """All that is there for the cases given with it. An item that is in neither mapping is not there."""

    units: Mapping[str, UnitStock] = field(default_factory=dict)
    sets: Mapping[str, SetStock] = field(default_factory=dict)

    def __post_init__(self) -> None:
        both = set(self.units) & set(self.sets)
        if both:
            raise PlanningError(f"Item {min(both)} is given both as units and as sets.")

    @classmethod
    def plain(cls, counts: Mapping[str, int]) -> Shelf:
        """Shelf of free units without dates: `{item: count}`."""
        return cls(units={item: UnitStock(free=(NEVER,) * n) for item, n in counts.items()})

    def with_more(self, item: str, n: int = 1) -> Shelf:
        """The same shelf with `n` more free units (without date) or sets of `item`; `n` >= 0."""
        if n < 0:
            raise PlanningError("Only adding can be tried.")
        if item in self.sets:
            old = self.sets[item]
            return replace(self, sets={**self.sets, item: replace(old, count=old.count + n)})
        unit = self.units.get(item, UnitStock())
        return replace(self, units={**self.units, item: replace(unit, free=unit.free + (NEVER,) * n)})


@dataclass(frozen=True)
class Missing:
    """Chance that the case draws `item` and finds too few of it. `unserved` needs carry the need's name."""

    item: str
    p: float


@dataclass(frozen=True)
class OneMore:
    """P(short) of the case if one more unit (or set) of `item` were held for it."""

    item: str
    p_short_low: float
    p_short_high: float


@dataclass(frozen=True)
class CaseAnswer:
    """What one case finds, after the cases before it.

    An outcome with a pair that has no rule on file is unknown. `p_short_high` counts it as short,
    `p_short_low` as covered; `p_cover_low` and `p_cover_high` are the other sides (low with high), summed
    apart. Without unknown outcomes the two are equal.

    Attributes
    ----------
    impossible : bool
        No combination meets the rules: a data error. Both P(short) are 1, and it takes nothing.
    exact : bool
        False: the P(short), `missing`, `unserved` and `one_more` are proven upper bounds ("at most").
    p_unknown : float
        Chance of an unknown outcome.
    missing : tuple of Missing
        Likeliest first. For a need that is not met, each option that serves the outcome is missing.
    unserved : tuple of Missing
        By need's name: chance that no listed option serves what is drawn, whatever is in stock.
    competitors : tuple of int
        Refs of earlier cases that may draw, from stock this case shares, on an item of `missing`.
    one_more : tuple of OneMore
        The items whose one more helps, best first; empty if no single one helps.
    """

    ref: int
    impossible: bool
    exact: bool
    p_cover_low: float
    p_cover_high: float
    p_short_low: float
    p_short_high: float
    p_unknown: float
    missing: tuple[Missing, ...]
    unserved: tuple[Missing, ...]
    competitors: tuple[int, ...]
    one_more: tuple[OneMore, ...]


@dataclass(frozen=True)
class ListAnswer:
    """What a whole list finds. Unknown pairs are taken as fitting; `p_all_cautious` counts them as short.

    Attributes
    ----------
    exact : bool
        False: `p_all` and `p_all_cautious` are proven lower bounds, `p_any_short` and `exp_short` upper
        ones; the other two are empty.
    p_first_short : tuple of float, length J
    dist_short : tuple of float, length J + 1
        Chance of 0, 1, ..., J cases short.
    """

    exact: bool
    p_all: float
    p_all_cautious: float
    p_any_short: float
    p_first_short: tuple[float, ...]
    dist_short: tuple[float, ...]
    exp_short: float
