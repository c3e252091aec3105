"""Pure: what the fit rules on file say of the pieces of one construct, pair by pair.

A pair is looked at when the plan joins its two slots, or when any rule joins its two families, whichever way
round the rule was written. Where the sizes then have no rule it is not known, and never taken for allowed. A
piece that neither the plan nor any rule knows is not known as a whole.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations

from cases.usage.models import Fits

# From good to bad: the worst of several is the last.
ORDER = (Fits.ALLOWED, Fits.NOT_KNOWN, Fits.CAUTION, Fits.REFUSED)


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of a construct. `slot` is the plan's code of the slot it stands in, "" for none."""

    key: int
    family: int
    rank: int
    slot: str


@dataclass(frozen=True, slots=True)
class RuleRow:
    """One rule on file, as it was written."""

    family_a: int
    rank_a: int
    family_b: int
    rank_b: int
    verdict: str
    source: str
    valid_from: date


@dataclass(frozen=True, slots=True)
class Judged:
    """What is said of two pieces by their keys; `b` is None for a piece that nothing on file knows."""

    a: int
    b: int | None
    fits: str
    source: str = ""


@dataclass(frozen=True, slots=True)
class Rules:
    """The rules in force on one day, to be asked either way round."""

    by_pair: Mapping[tuple[int, int, int, int], tuple[str, str]]
    families: frozenset[frozenset[int]]


def worst(verdicts: Iterable[str]) -> str:
    """The worst of several; of none, that there is no pair to compare."""
    return str(max(verdicts, key=lambda one: ORDER.index(Fits(one)), default=Fits.NO_PAIR))


def in_force(rows: Iterable[RuleRow], day: date) -> Rules:
    """Of several rules for one pair the newest stands; of one day's, the strictest."""
    found: dict[tuple[int, int, int, int], tuple[date, str, str]] = {}
    families = set()
    for row in rows:
        if row.valid_from > day:
            continue
        families.add(frozenset((row.family_a, row.family_b)))
        key = _key(row.family_a, row.rank_a, row.family_b, row.rank_b)
        before = found.get(key)
        newer = before is None or row.valid_from > before[0]
        if newer or (row.valid_from == before[0] and worst((row.verdict, before[1])) == row.verdict):  # type: ignore[index]
            found[key] = (row.valid_from, row.verdict, row.source)
    return Rules({key: (verdict, source) for key, (_, verdict, source) in found.items()}, frozenset(families))


def judge(
    pieces: Sequence[Piece], rules: Rules, linked: frozenset[frozenset[str]], planned: frozenset[str]
) -> tuple[Judged, ...]:
    """Every pair to be looked at. Two pieces of one slot are never a pair: one takes the other's place.

    `linked` are the pairs of slots that the plan joins, `planned` all slots of the plan.
    """
    said: list[Judged] = []
    known: set[int] = {one.key for one in pieces if one.slot in planned}
    for a, b in combinations(pieces, 2):
        if a.slot and a.slot == b.slot:
            continue
        rule = rules.by_pair.get(_key(a.family, a.rank, b.family, b.rank))
        if rule is not None:
            said.append(Judged(a.key, b.key, *rule))
        elif frozenset((a.slot, b.slot)) in linked or frozenset((a.family, b.family)) in rules.families:
            said.append(Judged(a.key, b.key, Fits.NOT_KNOWN))
        else:
            continue
        known |= {a.key, b.key}
    alone = len(pieces) == 1
    said += [Judged(one.key, None, Fits.NOT_KNOWN) for one in pieces if one.key not in known and not alone]
    return tuple(said)


def _key(family_a: int, rank_a: int, family_b: int, rank_b: int) -> tuple[int, int, int, int]:
    first, second = sorted(((family_a, rank_a), (family_b, rank_b)))
    return (*first, *second)
