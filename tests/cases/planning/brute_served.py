"""Every history of a list among others, one by one, in fractions."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from fractions import Fraction

from cases.planning.kinds import CaseDemand, Shelf
from tests.cases.planning.brute import Past, demands, meet, outcomes


def listed_served(
    cases: tuple[CaseDemand, ...], shelf: Shelf, listed: Collection[int]
) -> tuple[Fraction, dict[int, float]]:
    """P(all of these are served with rules on file for what they drew), and P(short) of each of them."""
    law: dict[tuple[Past, bool], Fraction] = {(Past(), True): Fraction(1)}
    shorts: dict[int, float] = {}
    for case in cases:
        mine = case.ref in listed
        ways = outcomes(case)
        after: dict[tuple[Past, bool], Fraction] = defaultdict(Fraction)
        short = Fraction(0) if ways else Fraction(1)
        for (past, well), weight in law.items():
            if not ways:
                after[past, well and not mine] += weight
            for drawn, unknown, p in ways:
                for asked, q in demands(case, drawn):
                    new, _, _ = meet(case, drawn, asked, shelf, past, cases)
                    bad = new is None or unknown
                    short += weight * p * q if bad else 0
                    after[new or past, well and not (mine and bad)] += weight * p * q
        if mine:
            shorts[case.ref] = float(short)
        law = after
    return sum((w for (_, well), w in law.items() if well), Fraction(0)), shorts
