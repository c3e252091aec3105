"""How prediction errors are learnt: Dirichlet-multinomial shrinkage, and how strongly to shrink.

A *cell* is one kind of error, "used minus predicted" of -h..+h sizes; a *group* is one slot, planner and
method. Chances are pure numbers; counts and strengths are in observations.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cases.planning.kinds import PlanningError
from cases.planning.sizing import chances

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

DEFAULT_STRENGTH = 10.0
"""A table counts as so many outcomes while too few groups are on file to tell."""

ENOUGH_GROUPS, ENOUGH_OUTCOMES = 20, 20
"""The strength is fitted as soon as so many groups hold so many outcomes each."""

KEEP = 0.98
"""What is kept of earlier outcomes at each new one of the same group: about the last fifty speak."""

LEAST, MOST = 1e-2, 1e4
"""The strengths between which the best one is looked for."""

INSIDE, LOWER, UPPER, FLAT, IMPOSSIBLE = "inside", "lower", "upper", "flat", "impossible"

_GRID = 41
_PRECISE = 1e-13


@dataclass(frozen=True, eq=False)
class Group:
    """One group's law before its own outcomes, and how often each error was seen.

    Parameters
    ----------
    prior : (k,) chances; any sum above nought, normalised here.
    counts : (k,) whole numbers of nought or more.

    Raises
    ------
    PlanningError
        For a prior that is no law, or counts of another length, negative or not whole.
    """

    prior: Floats
    counts: Ints

    def __post_init__(self) -> None:
        seen = np.asarray(self.counts, dtype=np.float64)
        object.__setattr__(self, "prior", chances(self.prior, "A prior"))
        if seen.shape != self.prior.shape or not np.isfinite(seen).all() or (seen < 0).any():
            raise PlanningError(f"Counts must be {self.prior.size} numbers of nought or more.")
        if (seen != np.floor(seen)).any():
            raise PlanningError("The strength is fitted to whole counts, before any is forgotten.")
        object.__setattr__(self, "counts", seen.astype(np.int64))


@dataclass(frozen=True, slots=True)
class Strength:
    """The strength at which all groups together are likeliest, and where it lies.

    `at` is "inside" the range looked at, at its "lower" or "upper" end (both are answers: groups that have
    nothing in common, groups that all follow the table), "flat" where the groups cannot tell, "impossible"
    where something happened that its table holds impossible. `alpha` is None for the last two.
    """

    alpha: float | None
    at: str


def posterior(prior: Sequence[float] | Floats, counts: Sequence[float] | Floats, alpha: float) -> Floats:
    """The learnt law: Dirichlet-multinomial shrinkage of counts towards the prior, strength `alpha`.

    Parameters
    ----------
    prior : (k,) chances. counts : (k,) observed counts, forgotten or not. alpha : above 0, in observations.

    Returns
    -------
    (k,) chances: (alpha prior + counts) / (alpha + sum of counts).

    Raises
    ------
    PlanningError
        For shapes that differ, negative counts, or a strength not above 0.

    Examples
    --------
    >>> posterior([0.25, 0.5, 0.25], [10, 0, 0], 10.0).tolist()
    [0.625, 0.25, 0.125]
    """
    law, seen = chances(prior, "A prior"), np.asarray(counts, dtype=np.float64)
    if seen.shape != law.shape or not np.isfinite(seen).all() or (seen < 0).any():
        raise PlanningError(f"Counts must be {law.size} numbers of nought or more.")
    if not (np.isfinite(alpha) and alpha > 0):
        raise PlanningError("The strength of a prior lies above 0.")
    return np.asarray((alpha * law + seen) / (alpha + seen.sum()), dtype=np.float64)


def faded(cells: Sequence[int] | Ints, size: int, keep: float = KEEP) -> Floats:
    """Counts of what was seen, in order of time: at each new one every count fades by `keep`, then it gains
    one.

    Parameters
    ----------
    cells : (n,) indices below `size`, oldest first.
    size : number of cells, k.
    keep : in (0, 1]; 1 forgets nothing, .98 remembers about 50.

    Returns
    -------
    (k,) counts.

    Raises
    ------
    PlanningError
        For a cell outside the table or a `keep` outside (0, 1].
    """
    seen = indices(cells, size)
    check_keep(keep)
    ages = np.arange(seen.size - 1, -1, -1, dtype=np.float64)
    return np.bincount(seen, weights=keep**ages, minlength=size).astype(np.float64)


def indices(cells: Sequence[int] | Ints, size: int) -> Ints:
    """Cells as an array, shape (n,). Raises PlanningError for one outside a table of `size`."""
    seen = np.asarray(cells, dtype=np.int64)
    outside = seen[(seen < 0) | (seen >= size)]
    if outside.size:
        raise PlanningError(f"There is no cell {outside[0]} in a table of {size}.")
    return seen


def check_keep(keep: float) -> None:
    """Raises PlanningError for a `keep` outside (0, 1]."""
    if not 0.0 < keep <= 1.0:
        raise PlanningError("What is kept of the past lies above 0 and is at most 1.")


def spoken_for(prior: Sequence[float] | Floats, counts: Sequence[float] | Ints, alpha: float) -> Floats:
    """How many independent outcomes a group's counts are worth to those who share its prior.

    A group strays from what it shares with the others, the more so the smaller `alpha`. Its first outcome of
    a cell speaks for the others in full, each further one only as far as the earlier ones did not foretell
    it: sum over j < count of alpha p / (alpha p + j), the expected number of tables in the restaurant picture
    of the hierarchical Dirichlet process (Teh, Jordan, Beal, Blei 2006, doi:10.1198/016214506000000302).

    Parameters
    ----------
    prior : (k,) chances. counts : (k,) whole counts. alpha : above 0.

    Returns
    -------
    (k,) worths, each at most its count.
    """
    group = Group(chances(prior, "A prior"), np.asarray(counts))
    if not (np.isfinite(alpha) and alpha > 0):
        raise PlanningError("The strength of a prior lies above 0.")
    worth = np.zeros(group.prior.size)
    for cell in np.flatnonzero((group.counts > 0) & (group.prior > 0)):
        weight = alpha * group.prior[cell]
        worth[cell] = (weight / (weight + np.arange(group.counts[cell]))).sum()
    return worth


def log_marginal(groups: Sequence[Group], alpha: float) -> float:
    """Log chance of all that was seen, in its order, each group's law being drawn anew at strength `alpha`.

    The sum over groups of log(Gamma(alpha) / Gamma(alpha + n)) and, over cells, of
    log(Gamma(alpha p + c) / Gamma(alpha p)), as sums of logarithms of whole steps: nothing cancels.

    Returns
    -------
    In nats; minus infinity where something happened that its table holds impossible.
    """
    if not (np.isfinite(alpha) and alpha > 0):
        raise PlanningError("The strength of a prior lies above 0.")
    steps = _Steps.of(groups)
    if steps.impossible:
        return -math.inf
    seen = float((steps.times * np.log(alpha * steps.p + steps.j)).sum())
    return seen - float((steps.groups * np.log(alpha + steps.n)).sum())


def fit_strength(groups: Sequence[Group]) -> Strength:
    """The strength of the priors that makes all groups together likeliest, within `LEAST` .. `MOST`.

    Solves the derivative of `log_marginal` by log alpha, which is the exact sum

        sum over groups and steps j < n of j / (alpha + j)
        - sum over groups, cells and steps j < c of j / (alpha p + j),

    by Newton's steps inside a bracket, to a relative 1e-12. The curve has one top for one group (Levin and
    Reeds 1977, Annals of Statistics 5:79); for several the range is looked through first, and of several
    tops the highest is taken.

    Parameters
    ----------
    groups : any number; each with its own prior.

    Returns
    -------
    Strength

    Examples
    --------
    >>> fit_strength([Group([0.5, 0.5], [3, 1]), Group([0.5, 0.5], [0, 4])]).at
    'inside'
    """
    steps = _Steps.of(groups)
    if steps.impossible:
        return Strength(None, IMPOSSIBLE)
    if steps.flat:
        return Strength(None, FLAT)
    ends = np.linspace(math.log(LEAST), math.log(MOST), _GRID)
    slopes = [steps.slope(point)[0] for point in ends]
    tops = [(ends[0], LOWER)] if slopes[0] < 0 else []
    for n in range(_GRID - 1):
        if slopes[n] >= 0 > slopes[n + 1]:
            tops.append((_root(steps.slope, ends[n], ends[n + 1]), INSIDE))
    if slopes[-1] >= 0:
        tops.append((ends[-1], UPPER))
    best, at = max(tops, key=lambda top: log_marginal(groups, math.exp(top[0])))
    return Strength({LOWER: LEAST, UPPER: MOST}.get(at, math.exp(best)), at)


def strength_in_use(groups: Sequence[Group]) -> tuple[float, bool]:
    """The strength to learn with, and whether it was fitted.

    `DEFAULT_STRENGTH` until `ENOUGH_GROUPS` groups hold `ENOUGH_OUTCOMES` outcomes each, and where the groups
    cannot tell.
    """
    if sum(int(group.counts.sum()) >= ENOUGH_OUTCOMES for group in groups) < ENOUGH_GROUPS:
        return DEFAULT_STRENGTH, False
    alpha = fit_strength(groups).alpha
    return (DEFAULT_STRENGTH, False) if alpha is None else (alpha, True)


@dataclass(frozen=True, eq=False)
class _Steps:
    """The terms of the marginal likelihood, like ones counted once.

    `times` cells of chance `p` reached a count above `j`; `groups` groups reached more than `n` outcomes.
    """

    p: Floats
    j: Floats
    times: Floats
    n: Floats
    groups: Floats
    impossible: bool
    flat: bool

    @classmethod
    def of(cls, groups: Sequence[Group]) -> _Steps:
        p = np.concatenate([np.zeros(0), *(group.prior for group in groups)])
        seen = np.concatenate([np.zeros(0, dtype=np.int64), *(group.counts for group in groups)])
        totals = np.array([int(group.counts.sum()) for group in groups], dtype=np.int64)
        values, which = np.unique(p, return_inverse=True)
        # Per chance and step, how many counts lie above the step.
        table = np.zeros((values.size, int(seen.max(initial=0)) + 1))
        np.add.at(table, (which, seen), 1.0)
        above = table[:, ::-1].cumsum(axis=1)[:, ::-1][:, 1:]
        row, step = np.nonzero(above)
        reached = np.bincount(totals, minlength=1)[::-1].cumsum()[::-1][1:].astype(np.float64)
        open_to_doubt = [group.counts.sum() > 1 and group.prior.max() < 1.0 for group in groups]
        return cls(
            p=values[row],
            j=step.astype(np.float64),
            times=above[row, step],
            n=np.arange(reached.size, dtype=np.float64),
            groups=reached,
            impossible=bool(((p == 0) & (seen > 0)).any()),
            flat=not any(open_to_doubt),
        )

    def slope(self, point: float) -> tuple[float, float]:
        """First and second derivative of the log marginal likelihood by log alpha, at log alpha = `point`."""
        alpha = math.exp(point)
        cells, whole = alpha * self.p + self.j, alpha + self.n
        seen, totals = self.times * self.j / cells, self.groups * self.n / whole
        first = totals.sum() - seen.sum()
        second = (seen * alpha * self.p / cells).sum() - (totals * alpha / whole).sum()
        return float(first), float(second)


def _root(slope: Callable[[float], tuple[float, float]], low: float, high: float) -> float:
    """Where the slope falls through nought between `low` and `high`: Newton, kept inside the bracket."""
    point = (low + high) / 2
    for _ in range(200):
        first, second = slope(point)
        if first >= 0:
            low = point
        else:
            high = point
        step = point - first / second if second < 0 else math.inf
        after = step if low < step < high else (low + high) / 2
        if abs(after - point) <= _PRECISE or high - low <= _PRECISE:
            return after
        point = after
    return point
