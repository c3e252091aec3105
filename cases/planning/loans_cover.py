"""What a choice of loans, orders and transfers lets each case find, exactly.

For case c an item's units are there with chances `present[item][n - 1]` = P(at least n), before anything
comes; each chosen action that arrives in time brings its units on top, free for every case. A demand x is
met with

    there(x) = max(0, 1 - sum over its items of P(fewer than asked are there)),

which is exact where these chances are 0 or 1, and at least so much where they are not. Parts multiply.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from cases.planning.asks import Ask, Needs, asks
from cases.planning.fit import Joint, joint
from cases.planning.kinds import CaseDemand, PlanningError

Present = Mapping[str, tuple[float, ...]]
"""By item the chances that at least 1, 2, … of it are there; an item not named is not there."""


@dataclass(frozen=True)
class Action:
    """One thing that may be done: a loan set comes, an order is placed, the other site sends something.

    Parameters
    ----------
    ref : str
        The caller's name for it, unique.
    kind : str
        "loan", "order", "transfer" or another word of the caller's; nothing is computed from it.
    cost : float
        Of doing it once; nought or more, in any one unit.
    brings : mapping of item to units
        Units, or sets under the name of their design.
    arrives : int
        Day number from the start of which all it brings may be used.
    most : int
        How often it may be done.
    """

    ref: str
    kind: str
    cost: float
    brings: Mapping[str, int]
    arrives: int = 0
    most: int = 1

    def __post_init__(self) -> None:
        if not 0.0 <= self.cost < float("inf"):
            raise PlanningError(f"{self.ref}: a cost is nought or more.")
        if self.most < 0 or any(n < 1 for n in self.brings.values()):
            raise PlanningError(
                f"{self.ref}: it brings at least one of each item, and is done nought times or more."
            )


@dataclass(frozen=True)
class Wish:
    """A case, its demands by part, and what is there for it."""

    case: CaseDemand
    parts: tuple[tuple[Ask, ...], ...]
    present: Present
    impossible: bool

    @classmethod
    def of(cls, case: CaseDemand, present: Present, law: Joint | None = None) -> Wish:
        """Write a case's demands out."""
        law = law or joint(case)
        return cls(case, asks(law), present, law.impossible)

    def own(self, item: str, n: int) -> float:
        """P(at least n are there) before anything comes."""
        if n <= 0:
            return 1.0
        chances = self.present.get(item, ())
        return chances[n - 1] if n <= len(chances) else 0.0


def brought(wish: Wish, actions: Sequence[Action], chosen: Sequence[int]) -> dict[str, int]:
    """Units that come in time for a case, by item, if each action is done as often as chosen."""
    found: dict[str, int] = {}
    for action, times in zip(actions, chosen, strict=True):
        if times and action.arrives <= wish.case.day:
            for item, n in action.brings.items():
                found[item] = found.get(item, 0) + n * times
    return found


def parts_met(wish: Wish, more: Mapping[str, int]) -> list[tuple[float, float]]:
    """Per part the chance that its demand is met, and that it is not (summed apart)."""
    found = []
    for part in wish.parts:
        met = unmet = 0.0
        for ask in part:
            lack = min(1.0, _lack(wish, ask, more))
            met += ask.p * (1.0 - lack)
            unmet += ask.p * lack
        found.append((met, unmet))
    return found


def short(wish: Wish, more: Mapping[str, int]) -> float:
    """P(the case is short) with so many units more, from the parts' short sides."""
    if wish.impossible:
        return 1.0
    lost, good = 0.0, 1.0
    for met, unmet in parts_met(wish, more):
        lost += good * unmet
        good *= met
    return min(1.0, lost)


def _lack(wish: Wish, ask: Ask, more: Mapping[str, int]) -> float:
    """Chance at most that something of a demand is not there."""
    lack = sum(1.0 - wish.own(item, n - more.get(item, 0)) for item, n in ask.units)
    return lack + _no_set(wish, ask.needs, more) if ask.needs else lack


def _no_set(wish: Wish, needs: Needs, more: Mapping[str, int]) -> float:
    """The same for its sets: the best way to meet every need."""
    best = 1.0
    for way in product(*needs):
        wanted = {item: way.count(item) for item in way}
        best = min(best, sum(1.0 - wish.own(item, n - more.get(item, 0)) for item, n in wanted.items()))
    return best
