"""What each case of a horizon finds on site, and how sure that is.

The horizon's arrays give every case a proven bound and an estimate. Where the bound does not prove the case
covered, the exact answer is worked out from the few earlier cases that can matter to it, as far as that can
be afforded: work is counted in cases and combinations, so that the same snapshot always gives the same
answer.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from cases.planning import sharing
from cases.planning.coverage import GRAIN, in_order_of_help, ranked
from cases.planning.horizon import Outlook
from cases.planning.horizon import outlook as look
from cases.planning.kinds import SLACK, CaseAnswer, OneMore
from cases.planning.parts import Floats, Ints
from cases.planning.sharing import MOST_IN_CIRCLE
from cases.readiness.arrays import Layout
from cases.readiness.parts import CaseLaw

MOST_COMBINATIONS = 4_000
"""Combinations of all cases of one circle for which its exact answer is tried."""
MOST_WORK = 40_000
"""Combinations of all circles tried for one horizon."""
MOST_TOLD = 12
"""Missing items, and items of which one more would help, that an estimate names."""
LOST = 0.9
"""A case that is short with at least this chance hardly lessens what those after it find."""
TRACE = 1e-4
"""Items that are missing with less than this chance name no competitors."""


@dataclass(frozen=True)
class Finding:
    """The answer for one case. `bound`: it is an estimate, and these are the proven bounds of its P(short),
    low and high as in the answer; `bounds_with` are those with one more of an item."""

    answer: CaseAnswer
    bound: tuple[float, float] | None = None
    bounds_with: Mapping[str, tuple[float, float]] = field(default_factory=dict)


Exact = dict[tuple[object, ...], tuple[CaseAnswer, ...]]
"""Exact answers of circles by all that they rest on, kept from one snapshot to the next."""


def findings(
    ordered: Sequence[CaseLaw],
    layout: Layout,
    outlook: Outlook,
    *,
    wanted: float,
    exact: Exact,
) -> dict[int, Finding]:
    """What each case finds, by its id."""
    circles = _Circles(ordered, layout, outlook, exact)
    found: dict[int, Finding] = {}
    low, high = outlook.at_most.low, outlook.at_most.high
    lost = np.flatnonzero(low > LOST).tolist()
    for n in lost:
        found.update(circles.answers(n, 1.0 - wanted))
    served = {n: _served(found.get(ordered[n].facts.id)) for n in lost}
    lost = [n for n in lost if served[n] < 1.0 - LOST]
    after = np.zeros(len(ordered))
    if lost:
        # A case that is all but surely short takes nothing. Without it the bound of those after it is less
        # dark; the chance that it is served after all is added.
        outlook = look(outlook.arrays.without_draws(lost), outlook)
        np.add.at(after, lost, [served[n] for n in lost])
        after = np.cumsum(after) - after
        low, high = (
            np.minimum(low, outlook.at_most.low + after),
            np.minimum(high, outlook.at_most.high + after),
        )
    few = len(ordered) <= MOST_IN_CIRCLE
    unsure = [n for n in range(len(ordered)) if few or high[n] > 1.0 - wanted + SLACK]
    # From the last on: the circle of a late case often answers for the earlier ones in it.
    for n in reversed(unsure):
        if ordered[n].facts.id not in found:
            found = {**circles.answers(n, 1.0 - wanted), **found}
    teller, wondered = _Teller(ordered, layout, outlook, low, high, after), set(unsure)
    for n, law in enumerate(ordered):
        if law.facts.id not in found:
            found[law.facts.id] = teller.finding(n, explain=n in wondered)
    circles.keep()
    return found


def _served(known: Finding | None) -> float:
    """The chance that a case is served, pairs without a rule taken as fitting; 1 where it is not known."""
    return 1.0 if known is None else 1.0 - known.answer.p_short_low


class _Circles:
    """The earlier cases that can matter to a case, and their exact answers."""

    def __init__(self, ordered: Sequence[CaseLaw], layout: Layout, outlook: Outlook, exact: Exact) -> None:
        self._ordered, self._layout, self._outlook = ordered, layout, outlook
        self._left = MOST_WORK
        self._exact = exact
        self._used: Exact = {}

    def answers(self, n: int, good_enough: float) -> dict[int, Finding]:
        """Exact answers for a case and those in its circle, by id; none where that would be too dear."""
        if self._outlook.arrays.impossible[n] or (circle := self._circle(n)) is None:
            return {}
        laws = [self._ordered[m] for m in circle]
        key = (good_enough, *(self._seen(m) for m in circle))
        if key not in self._exact:
            work = sum(len(part.p) for law in laws for part in law.joint.parts)
            if work > MOST_COMBINATIONS or work > self._left:
                return {}
            self._left -= work
            self._exact[key] = sharing.assess(
                [law.demand for law in laws],
                self._layout.shelf,
                [law.joint for law in laws],
                good_enough=good_enough,
            )
        self._used[key] = self._exact[key]
        return {one.ref: Finding(one) for one in self._exact[key] if one.exact}

    def keep(self) -> None:
        """Forget what this horizon made no use of."""
        self._exact.clear()
        self._exact.update(self._used)

    def _circle(self, n: int) -> list[int] | None:
        """The case and all earlier ones that can change what it finds, ascending; None for too many."""
        found, fresh = {n}, [n]
        while fresh:
            new = rivals(self._outlook, fresh.pop()) - found
            found |= new
            fresh += new
            if len(found) > MOST_IN_CIRCLE:
                return None
        return sorted(found)

    def _seen(self, n: int) -> tuple[object, ...]:
        """A case's own law and times, and all there is of what it may draw."""
        law, arrays = self._ordered[n], self._outlook.arrays
        low, high = np.searchsorted(arrays.pair_case, [n, n + 1]).tolist()
        told = self._layout.told
        stock = b"".join([told[item] for item in arrays.pair_item[low:high].tolist()])
        return (law.facts.id, law.facts.list_id, law.facts.day, law.start, law.back, law.shape, stock)


def rivals(outlook: Outlook, n: int) -> set[int]:
    """Earlier cases that may draw on an item that the case could miss."""
    takers, found = outlook.takers, set[int]()
    places = np.array(outlook.places(n), dtype=np.int64)
    risky = outlook.first.lacks.now[takers.pair[places]].any(axis=1)
    for taker in places[risky].tolist():
        found.update(_before(outlook, taker).tolist())
    return found


def _before(outlook: Outlook, taker: int) -> Ints:
    """Numbers of the cases whose draws may be out when a taker comes."""
    takers = outlook.takers
    window = slice(int(takers.first[taker]), taker)
    out = outlook.drawing[window] & (takers.until[window] > takers.begin[taker])
    return np.asarray(outlook.arrays.pair_case[takers.pair[window][out]], dtype=np.int64)


class _Teller:
    """Answers in the shape of the exact ones, from bound and estimate."""

    def __init__(
        self,
        ordered: Sequence[CaseLaw],
        layout: Layout,
        outlook: Outlook,
        low: Floats,
        high: Floats,
        after: Floats,
    ) -> None:
        self._ordered, self._layout, self._outlook = ordered, layout, outlook
        self._low, self._high, self._after = low, high, after

    def finding(self, n: int, *, explain: bool) -> Finding:
        """The estimate for a case, with its bound; with `explain` also what is missing and would help."""
        o, law = self._outlook, self._ordered[n]
        if o.arrays.impossible[n]:
            return Finding(CaseAnswer(law.facts.id, True, True, 0.0, 0.0, 1.0, 1.0, 0.0, (), (), (), ()))
        bound = float(self._low[n]), float(self._high[n])
        low, high = min(bound[0], float(o.about.low[n])), min(bound[1], float(o.about.high[n]))
        missing: Mapping[str, float] = self._missing(n) if explain else {}
        answer = CaseAnswer(
            law.facts.id,
            False,
            False,
            1.0 - high,
            1.0 - low,
            low,
            high,
            float(o.unknown[n]),
            ranked(missing),
            ranked(_unserved(law)) if explain else (),
            self._competitors(n, missing),
            self._one_more(n) if explain else (),
        )
        return Finding(answer, bound, self._bounds_with(answer.one_more, n))

    def _pairs(self, n: int) -> range:
        low, high = np.searchsorted(self._outlook.arrays.pair_case, [n, n + 1]).tolist()
        return range(low, high)

    def _item(self, pair: int) -> str:
        return self._layout.items[int(self._outlook.arrays.pair_item[pair])]

    def _missing(self, n: int) -> dict[str, float]:
        pairs, chances = self._pairs(n), self._outlook.missing_about
        likeliest = sorted(pairs, key=lambda pair: -chances[pair])[:MOST_TOLD]
        return {self._item(pair): float(chances[pair]) for pair in likeliest}

    def _competitors(self, n: int, missing: Mapping[str, float]) -> tuple[int, ...]:
        o = self._outlook
        found: set[int] = set()
        for taker in o.places(n) if missing else ():
            if missing.get(self._item(int(o.takers.pair[taker])), 0.0) > TRACE:
                found.update(_before(o, taker).tolist())
        return tuple(self._ordered[m].facts.id for m in sorted(found))

    def _bounds_with(self, helps: Sequence[OneMore], n: int) -> dict[str, tuple[float, float]]:
        named = {one.item for one in helps}
        kept = self._outlook.kept_at_most if named else None
        return {
            item: (float(kept.low[pair] + self._after[n]), float(kept.high[pair] + self._after[n]))
            for pair in self._pairs(n)
            if kept is not None and (item := self._item(pair)) in named
        }

    def _one_more(self, n: int) -> tuple[OneMore, ...]:
        o = self._outlook
        kept, low, high = o.kept_about, float(o.about.low[n]), float(o.about.high[n])
        return in_order_of_help(
            OneMore(self._item(pair), min(low, float(kept.low[pair])), min(high, float(kept.high[pair])))
            for pair in sorted(self._pairs(n), key=lambda pair: kept.high[pair] + kept.low[pair])[:MOST_TOLD]
            if kept.high[pair] < high * (1.0 - GRAIN) or kept.low[pair] < low * (1.0 - GRAIN)
        )


def _unserved(law: CaseLaw) -> dict[str, float]:
    """By need's name: chance that no listed option serves what is drawn."""
    found: dict[str, float] = {}
    for construct in law.shape.constructs:
        for rows in construct.joint.rows:
            for need in rows.needs:
                for name, p in need.unserved(rows.p).items():
                    found[name] = found.get(name, 0.0) + p
    return found
