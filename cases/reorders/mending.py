"""A choice mended until the cases of a list are covered although they compete for what comes."""

from collections.abc import Sequence

from cases.readiness.assess import WorkedOut
from cases.reorders.doings import Doing
from cases.reorders.planned import Base

MOST_TURNS = 5
"""Things that are added at most."""
MOST_WEIGHED = 5
"""Things that are weighed for each of them, the cheapest first."""
LEAST_GAIN = 1e-4


class Mending:
    """Adds to a choice what helps most for its cost, and takes away what is then not needed."""

    def __init__(self, base: Base, doings: Sequence[Doing], hopeless: Sequence[int]) -> None:
        self.base, self.doings, self.hopeless = base, doings, hopeless

    def mended(self, chosen: dict[Doing, int]) -> dict[Doing, int]:
        """The choice with what it lacks, and without what it then no longer needs; the same if it holds."""
        known = self.base.after(chosen)
        failing = self.base.failing(known, self.hopeless)
        if not failing:
            return chosen
        for _turn in range(MOST_TURNS):
            more = self._best(chosen, known, failing)
            if more is None:
                break
            chosen = {**chosen, more: chosen.get(more, 0) + 1}
            known = self.base.after(chosen)
            failing = self.base.failing(known, self.hopeless)
            if not failing:
                return self._without_spare(chosen)
        return chosen

    def _best(self, chosen: dict[Doing, int], known: WorkedOut, failing: Sequence[int]) -> Doing | None:
        """What gains most for its cost among the cheapest that bring what a failing case lacks."""
        lacking = {one.item for pk in failing for one in known.found[pk].answer.one_more}
        lacking |= {one.item for pk in failing for one in known.found[pk].answer.missing}
        able = [
            doing
            for doing in self.doings
            if chosen.get(doing, 0) < doing.most and lacking & set(doing.brings)
        ]
        now = self._served(known)
        weighed = []
        for doing in sorted(able, key=lambda one: (one.cost, one.ref))[:MOST_WEIGHED]:
            gain = self._served(self.base.after({**chosen, doing: chosen.get(doing, 0) + 1})) - now
            if gain > LEAST_GAIN:
                weighed.append((gain / (float(doing.cost) + 1.0), doing.ref, doing))
        return max(weighed, key=lambda one: one[:2])[2] if weighed else None

    def _without_spare(self, chosen: dict[Doing, int]) -> dict[Doing, int]:
        for doing in sorted(chosen, key=lambda one: (-one.cost, one.ref)):
            while chosen.get(doing, 0):
                fewer = {one: n - (one is doing) for one, n in chosen.items()}
                fewer = {one: n for one, n in fewer.items() if n}
                if self.base.failing(self.base.after(fewer), self.hopeless):
                    break
                chosen = fewer
        return chosen

    def _served(self, known: WorkedOut) -> float:
        """How many of the list's cases are served on average, none counted for more than its target."""
        wanted = self.base.snapshot.policy.wanted_on_site
        found = (known.found[pk].answer for pk in self.base.own if pk in known.found)
        return sum(min(1.0 - answer.p_short_low, wanted) for answer in found)
