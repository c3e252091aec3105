"""The one try that helps most: looked for by estimates, then judged like any, so it gains what is said."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from itertools import islice

import numpy as np

from cases.planning.horizon_arrays import gathered
from cases.readiness.altered import Plan, tried
from cases.readiness.assess import Judgement, estimated, estimates, levels_on_site
from cases.readiness.kinds import Level, Word
from cases.readiness.tries import Kind, Try
from cases.readiness.whatif import Board
from trays.web.errors import Refusal

MOST_ITEMS = 4
"""Items of which one more may be judged; all items are weighed by the estimate."""
MOST_MOVES = 6
"""Moves to other lists that are weighed, the nearest days first."""
MOST_JUDGED = 3
LEAST_GAIN = 0.005
"""A gain in expected served cases that is worth a word."""


@dataclass(frozen=True)
class Best:
    """The best try.

    Attributes
    ----------
    gain : float
        In expected served cases of the list, less what the cases of other lists lose together.
    case_id : int
        The case of the list that gains most; `before` and `after` are its levels on site.
    others, lose : int
        How many more cases of the site gain, and how many lose.
    """

    one: Try
    gain: float
    case_id: int
    before: Level
    after: Level
    others: int
    lose: int


@dataclass(frozen=True)
class Search:
    """What was found among so many tries; `best` None: none of them gains enough to be worth it."""

    looked_at: int
    best: Best | None


def best_try(known: Board) -> Search:
    """The try, beyond those that were pressed, after which most cases of the list can be expected served."""
    then = known.then
    mine = {line.case.pk for line in known.lines if not line.left}
    about = estimated(then.outlook)
    weighed = _more(then, mine)
    looked_at = len(weighed)
    weighed = sorted(weighed, key=lambda pair: -pair[0])[:MOST_ITEMS]
    for one in (*_swaps(known), *_moves(known)):
        plan = _tried(known.plan, one)
        if plan is not None:
            looked_at += 1
            after = estimates(plan.snapshot, then)
            steps = {ref: p - after[ref] for ref, p in about.items() if ref in after}
            weighed.append((_gain(steps, mine), one))
    weighed.sort(key=lambda pair: -pair[0])
    judgements = [_judged(known, mine, one) for gain, one in weighed[:MOST_JUDGED] if gain >= LEAST_GAIN / 2]
    found = [best for best in judgements if best is not None and best.gain >= LEAST_GAIN]
    return Search(looked_at, max(found, key=lambda best: best.gain, default=None))


def _gain(steps: Mapping[int, float], mine: Collection[int]) -> float:
    """What the list's cases gain together, less what the others lose together."""
    elsewhere = sum(step for ref, step in steps.items() if ref not in mine)
    return sum(step for ref, step in steps.items() if ref in mine) + min(0.0, elsewhere)


def _more(then: Judgement, mine: Collection[int]) -> list[tuple[float, Try]]:
    """About what one more of each item that these cases may use gains them, all items at once."""
    out, arrays = then.outlook, then.layout.arrays
    step = out.about.high[arrays.pair_case] - out.what_ifs.with_more.high
    listed = np.isin(arrays.ref[arrays.pair_case], sorted(mine))
    gains = gathered(arrays.pair_item[listed], step[listed], len(then.layout.items))
    used = np.unique(arrays.pair_item[listed]).tolist()
    return [(float(gains[item]), Try(Kind.MORE, item=then.layout.items[item])) for item in used]


def _swaps(known: Board) -> list[Try]:
    cases = known.plan.order.get(known.theatre_list.pk, ())
    return [
        Try(Kind.UP, case.pk)
        for before, case in zip(cases, cases[1:], strict=False)
        if before.open and case.open
    ]


def _moves(known: Board) -> list[Try]:
    """Cases that are not covered, each to the lists of the nearest days."""
    day = known.theatre_list.day
    targets = sorted(known.targets, key=lambda one: abs((one.day - day).days))
    needy = [
        line.case.pk
        for line in known.lines
        if not line.left
        and line.case.open
        and line.change is not None
        and line.change.on_site.then is not None
        and line.change.on_site.then.word in (Word.SHORT, Word.THIN)
    ]
    pairs = (Try(Kind.MOVE, case, target.pk) for target in targets for case in needy)
    return list(islice(pairs, MOST_MOVES))


def _tried(plan: Plan, one: Try) -> Plan | None:
    try:
        return tried(plan, one)
    except Refusal:
        return None


def _judged(known: Board, mine: Collection[int], one: Try) -> Best | None:
    plan = _tried(known.plan, one)
    if plan is None:
        return None
    old = {case_id: verdict.on_site for case_id, verdict in known.then.horizon.verdicts.items()}
    new = levels_on_site(plan.snapshot, known.then)
    steps = {case_id: new[case_id].chance - level.chance for case_id, level in old.items() if case_id in new}
    most = max((case_id for case_id in steps if case_id in mine), key=lambda n: steps[n], default=None)
    if most is None:
        return None
    others = sum(step >= LEAST_GAIN for case_id, step in steps.items() if case_id != most)
    lose = sum(step <= -LEAST_GAIN for step in steps.values())
    return Best(one, _gain(steps, mine), most, old[most], new[most], others, lose)
