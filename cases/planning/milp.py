"""Integer programmes, solved exactly: the one place that knows HiGHS.

Minimise cost · x subject to `low <= A x <= high` row by row, `lower <= x <= upper`, and x_j whole where
`integral[j]`. The solver is an optional extra (`pip install trayspan[exact]`), imported on first use only;
without it `minimise` raises `NotInstalledError`, and its callers answer by a search that they name.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec

import numpy as np
import numpy.typing as npt

from cases.planning.kinds import PlanningError

INFINITE = math.inf

SECONDS = 5.0
"""Time that one programme may take unless the caller says otherwise."""

WHOLE = 1e-6
"""How far from a whole number the solver may leave an integral column; values are rounded on the way out."""


class NotInstalledError(RuntimeError):
    """The solver is not installed: an exact answer is not to be had on this machine."""


@dataclass(frozen=True, slots=True)
class Row:
    """One condition: `low` <= sum of coefficient · column <= `high`. Use -INFINITE or INFINITE for none."""

    columns: tuple[int, ...]
    coefficients: tuple[float, ...]
    low: float = -INFINITE
    high: float = INFINITE

    def __post_init__(self) -> None:
        if len(self.columns) != len(self.coefficients):
            raise PlanningError("A row has as many coefficients as columns.")
        if len(set(self.columns)) != len(self.columns):
            raise PlanningError("A row names a column twice.")
        if not all(math.isfinite(one) for one in self.coefficients):
            raise PlanningError("A row's coefficients must be finite.")
        if math.isnan(self.low) or math.isnan(self.high):
            raise PlanningError("A row's ends must be numbers.")


@dataclass(frozen=True, slots=True)
class Programme:
    """Costs, bounds and kinds of n columns, and the rows they must meet.

    Parameters
    ----------
    cost : length n
        Cost of one unit of each column; the sum is made least.
    upper, lower : length n
        Bounds of each column; INFINITE for none. `lower` is nought throughout if left out.
    integral : length n
        Whether the column must be a whole number; all of them if left out.
    rows
        Conditions; columns by index.
    """

    cost: tuple[float, ...]
    upper: tuple[float, ...]
    rows: tuple[Row, ...] = ()
    lower: tuple[float, ...] = ()
    integral: tuple[bool, ...] = ()

    def __post_init__(self) -> None:
        n = len(self.cost)
        if len(self.upper) != n or len(self.lower) not in (0, n) or len(self.integral) not in (0, n):
            raise PlanningError("Costs, bounds and kinds of columns must be of one length.")
        if not all(math.isfinite(one) for one in self.cost):
            raise PlanningError("The cost of a column must be finite.")
        if any(math.isnan(one) for one in (*self.upper, *self.lower)):
            raise PlanningError("The bounds of a column must be numbers.")
        if any(not 0 <= column < n for row in self.rows for column in row.columns):
            raise PlanningError("A row names a column that is not there.")


@dataclass(frozen=True, slots=True)
class Solution:
    """What the solver found.

    Attributes
    ----------
    values : length n, or empty
        The best answer found, integral columns rounded to whole numbers; empty if there is none.
    cost : float
        Of `values`; INFINITE if there is none.
    bound : float
        Proven: no answer costs less.
    proven : bool
        `values` are optimal within the gap asked for, or, with no values, no answer exists.
    """

    values: tuple[float, ...]
    cost: float
    bound: float
    proven: bool

    @property
    def feasible(self) -> bool:
        """Whether there is an answer at all."""
        return math.isfinite(self.cost)

    @property
    def gap(self) -> float:
        """How much dearer than the least possible it may be, as a share of its cost."""
        if not self.feasible:
            return 0.0 if self.proven else INFINITE
        return max(0.0, self.cost - self.bound) / max(abs(self.cost), 1e-9)


@cache
def installed() -> bool:
    """Whether the solver is there; looks once, loads nothing."""
    return find_spec("highspy") is not None


def minimise(programme: Programme, *, seconds: float = SECONDS, gap: float = 0.0) -> Solution:
    """The least cost that meets every row, by branch and bound.

    Parameters
    ----------
    programme : Programme
    seconds : float
        Wall time after which the best answer so far comes back, not `proven`.
    gap : float
        Relative distance to the bound at which the search may stop.

    Returns
    -------
    Solution
        The same for the same programme (one thread, fixed seed), unless time ran out.

    Raises
    ------
    NotInstalledError
        HiGHS is not installed.
    PlanningError
        The cost has no lower end, or the solver refused the programme.

    Notes
    -----
    The solver's tolerances are absolute, `WHOLE` for integrality and 1e-7 for rows: give targets that much
    slack, and check the rounded answer by its own arithmetic.

    References
    ----------
    Huangfu & Hall (2018), Mathematical Programming Computation 10, doi:10.1007/s12532-017-0130-5.

    Examples
    --------
    >>> knapsack = Programme(cost=(-3, -4, -5), upper=(1, 1, 1), rows=(Row((0, 1, 2), (2, 3, 4), high=5),))
    >>> minimise(knapsack).values
    (1.0, 1.0, 0.0)
    """
    if not installed():
        raise NotInstalledError("The integer programme solver (highspy) is not installed.")
    if not programme.cost:
        met = all(row.low <= 0.0 <= row.high for row in programme.rows)
        return Solution((), 0.0, 0.0, True) if met else Solution((), INFINITE, INFINITE, True)
    return _solved(programme, seconds, gap)


def _solved(programme: Programme, seconds: float, gap: float) -> Solution:
    import highspy

    class Quiet(highspy.Highs):
        """Without the callbacks of the wrapper, whose setting up prints a banner past `output_flag`."""

        def __init__(self) -> None:
            super(highspy.Highs, self).__init__()

    solver = Quiet()
    for option, value in _options(seconds, gap).items():
        solver.setOptionValue(option, value)
    integral = np.array(programme.integral or (True,) * len(programme.cost))
    if solver.passModel(_model(programme, integral)) == highspy.HighsStatus.kError:
        raise PlanningError("The solver refused the programme.")
    solver.run()
    status, info = solver.getModelStatus(), solver.getInfo()
    if status == highspy.HighsModelStatus.kInfeasible:
        return Solution((), INFINITE, INFINITE, True)
    if status in (highspy.HighsModelStatus.kUnbounded, highspy.HighsModelStatus.kUnboundedOrInfeasible):
        raise PlanningError("The cost of the programme has no lower end.")
    proven = status == highspy.HighsModelStatus.kOptimal
    bound = float(info.mip_dual_bound if integral.any() else info.objective_function_value)
    if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
        return Solution((), INFINITE, bound, False)
    values = np.asarray(solver.getSolution().col_value, dtype=np.float64)
    values = np.where(integral, np.round(values), values) + 0.0
    cost = float(np.dot(programme.cost, values))
    return Solution(tuple(values.tolist()), cost, min(bound, cost), proven)


def _options(seconds: float, gap: float) -> dict[str, bool | int | float | str]:
    return {
        "output_flag": False,
        "threads": 1,
        "parallel": "off",
        "random_seed": 0,
        "time_limit": seconds,
        "mip_rel_gap": gap,
        "mip_abs_gap": 1e-9,
        "mip_feasibility_tolerance": WHOLE,
    }


def _model(programme: Programme, integral: npt.NDArray[np.bool_]) -> highspy.HighsLp:  # type: ignore[name-defined] # noqa: F821
    import highspy

    model = highspy.HighsLp()
    n = len(programme.cost)
    model.num_col_, model.num_row_ = n, len(programme.rows)
    model.col_cost_ = np.array(programme.cost, dtype=np.float64)
    model.col_lower_ = _ends(programme.lower or (0.0,) * n)
    model.col_upper_ = _ends(programme.upper)
    model.row_lower_ = _ends([row.low for row in programme.rows])
    model.row_upper_ = _ends([row.high for row in programme.rows])
    kinds = {True: highspy.HighsVarType.kInteger, False: highspy.HighsVarType.kContinuous}
    model.integrality_ = [kinds[bool(whole)] for whole in integral]
    lengths = [len(row.columns) for row in programme.rows]
    model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    model.a_matrix_.num_col_, model.a_matrix_.num_row_ = n, len(programme.rows)
    model.a_matrix_.start_ = np.concatenate(([0], np.cumsum(lengths, dtype=np.int64))).astype(np.int32)
    model.a_matrix_.index_ = np.array([c for row in programme.rows for c in row.columns], dtype=np.int32)
    model.a_matrix_.value_ = np.array(
        [v for row in programme.rows for v in row.coefficients], dtype=np.float64
    )
    return model


def _ends(values: Sequence[float]) -> npt.NDArray[np.float64]:
    return np.array(values, dtype=np.float64)
