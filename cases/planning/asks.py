"""What a part of a case asks for, outcome by outcome: units of items, and sets that would do.

The same law as `rows`, written out as a list of distinct demands with their chances, for programmes that
need one column for each. Pairs without a rule on file are taken as fitting.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from cases.planning.fit import Joint
from cases.planning.rows import PartRows, SlotClass

Needs = tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Ask:
    """One demand of a part.

    Attributes
    ----------
    units : tuple of (item, number), sorted by item
        All of it must be there.
    needs : tuple of tuples of set items
        One set for each, out of those that would do; an empty one is a need that nothing serves.
    p : float
        Chance of this demand. Those of a part sum to 1.
    """

    units: tuple[tuple[str, int], ...]
    needs: Needs
    p: float


def asks(law: Joint) -> tuple[tuple[Ask, ...], ...]:
    """The demands of each part of a case, likeliest first; no parts for an impossible case.

    Examples
    --------
    >>> from cases.planning.fit import joint
    >>> from cases.planning.kinds import CaseDemand, SlotLaw
    >>> case = CaseDemand(1, (SlotLaw("femoral", ("F3", "F4"), (1, 3), extra=0.5),))
    >>> [(ask.units, ask.p) for ask in asks(joint(case))[0]]
    [((('F4', 1),), 0.375), ((('F4', 2),), 0.375), ((('F3', 1),), 0.125), ((('F3', 2),), 0.125)]
    """
    return tuple(_of_part(rows) for rows in law.rows)


def _of_part(rows: PartRows) -> tuple[Ask, ...]:
    classes = [_ways(one) for one in rows.slots]
    found: dict[tuple[tuple[tuple[str, int], ...], Needs], float] = {}
    for row, chance in enumerate(rows.p.tolist()):
        needs: Needs = tuple(n for one in rows.needs for n in one.patterns[int(one.row[row])])
        own = [ways[int(one.row[row])] for ways, one in zip(classes, rows.slots, strict=True)]
        for units, share in _together(own):
            key = (tuple(sorted(units.items())), needs)
            found[key] = found.get(key, 0.0) + chance * share
    order = sorted(found.items(), key=lambda pair: (-float(f"{pair[1]:.9e}"), pair[0]))
    return tuple(Ask(units, needs, p) for (units, needs), p in order if p > 0.0)


def _ways(one: SlotClass) -> list[list[tuple[dict[str, int], float]]]:
    """By combination of a class: what is asked for, in each way, with the way's share."""
    units: list[dict[str, int]] = [{} for _ in one.share]
    for way, item, n in zip(one.way.tolist(), one.item.tolist(), one.number.tolist(), strict=True):
        units[way][one.names[item]] = n
    found: list[list[tuple[dict[str, int], float]]] = [[] for _ in range(one.size)]
    for way, (combination, share) in enumerate(
        zip(one.combination.tolist(), one.share.tolist(), strict=True)
    ):
        found[combination].append((units[way], share))
    return found


def _together(
    classes: list[list[tuple[dict[str, int], float]]],
) -> Iterator[tuple[Mapping[str, int], float]]:
    """Every way of all classes at once; classes share no items."""
    if not classes:
        yield {}, 1.0
        return
    for units, share in classes[0]:
        for more, rest in _together(classes[1:]):
            yield {**units, **more}, share * rest
