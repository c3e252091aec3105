"""An impossible case: which of its rules clash, and over which sizes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from cases.planning.fit import joint
from cases.planning.kinds import CaseDemand, Rule, TooManyOutcomesError


@dataclass(frozen=True)
class RefusedPair:
    """Two sizes that a rule refuses: the likeliest pair of its slots. Slots and items by index."""

    rule: int
    slot_a: int
    item_a: int
    slot_b: int
    item_b: int


@dataclass(frozen=True)
class Clash:
    """Rules that no combination of sizes meets all at once.

    Attributes
    ----------
    rules : tuple of int
        Numbers in `case.rules`. Without any one of them the slots would have a combination.
    slots : tuple of int
        The slots they join.
    in_play : tuple of tuple of int, one per slot
        Items that the slot may draw.
    refused : tuple of RefusedPair, one per rule
        Where a rule refuses no pair of sizes in play, it clashes through the others alone and has none.
    """

    rules: tuple[int, ...]
    slots: tuple[int, ...]
    in_play: tuple[tuple[int, ...], ...]
    refused: tuple[RefusedPair, ...]


def clashes(case: CaseDemand) -> tuple[Clash, ...]:
    """The rules that make a case impossible, one clash for each group of rules that has nothing to do with
    the others; empty for a possible case.

    Notes
    -----
    Each rule is left out in turn and stays out if the rest still clash (a minimal set, found in as many
    trials as there are rules). Where the rest has too many combinations to list, it is taken as possible.

    Examples
    --------
    >>> from cases.planning.kinds import SlotLaw
    >>> sizes = SlotLaw("femoral", ("F1", "F2"), (1, 0)), SlotLaw("tibial", ("T1", "T2"), (0, 1))
    >>> case = CaseDemand(1, sizes, (Rule(0, 1, frozenset({(0, 0), (1, 1)})),))
    >>> [clash.rules for clash in clashes(case)]
    [(0,)]
    """
    found: list[Clash] = []
    rest = list(range(len(case.rules)))
    while _impossible(case, rest):
        kept = list(rest)
        for number in rest:
            fewer = [n for n in kept if n != number]
            if _impossible(case, fewer):
                kept = fewer
        if not kept:
            break
        found.append(_clash(case, kept))
        rest = [n for n in rest if n not in kept]
    return tuple(sorted(found, key=lambda clash: clash.rules))


def _impossible(case: CaseDemand, rules: Sequence[int]) -> bool:
    some = replace(case, rules=tuple(case.rules[n] for n in rules), needs=())
    try:
        return joint(some).impossible
    except TooManyOutcomesError:
        return False


def _clash(case: CaseDemand, rules: Sequence[int]) -> Clash:
    slots = sorted({slot for n in rules for slot in (case.rules[n].a, case.rules[n].b)})
    in_play = tuple(
        tuple(index for index, weight in enumerate(case.slots[slot].weights) if weight > 0) for slot in slots
    )
    refused = (_likeliest(case, n, case.rules[n]) for n in rules)
    return Clash(tuple(rules), tuple(slots), in_play, tuple(pair for pair in refused if pair))


def _likeliest(case: CaseDemand, number: int, rule: Rule) -> RefusedPair | None:
    first, second = case.slots[rule.a], case.slots[rule.b]
    fitting = rule.allow | rule.unknown
    pairs = [
        (-one * two, i, j)
        for i, one in enumerate(first.weights)
        for j, two in enumerate(second.weights)
        if one > 0 and two > 0 and (i, j) not in fitting
    ]
    if not pairs:
        return None
    _, i, j = min(pairs)
    return RefusedPair(number, rule.a, i, rule.b, j)
