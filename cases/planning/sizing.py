"""From a predicted size, or a range, to the chance of each size.

An offset law holds the chances of (used minus predicted), in sizes, from -h to +h: shape (2h + 1,).
Sizes are ranks 0 to n - 1 of one family. Chances are pure numbers.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cases.planning.kinds import PlanningError

Floats = npt.NDArray[np.float64]

# A cell that starts at nought could never be learnt, so a table is lifted to this and normalised.
FLOOR = 0.005


@dataclass(frozen=True, slots=True)
class PriorTable:
    """A published offset law, from -3 to +3: what lies beyond two sizes is shared by the two ends."""

    key: str
    offsets: tuple[float, ...]
    source: str


def _symmetric(key: str, exact: float, one: float, two: float, beyond: float, source: str) -> PriorTable:
    return PriorTable(key, (beyond / 2, two, one, exact, one, two, beyond / 2), source)


_KNEE_2D = "181 knees templated on x-ray, 2020; split evenly between larger and smaller"
_KNEE_DATA = "181 knees by height, weight, sex, age, 2020; split evenly between larger and smaller"
_HIP_2D = "391 hips templated on x-ray by trainees, 2022; split evenly between larger and smaller"

# Published figures (numbers split symmetrically from exact, within one and within two sizes).
PRIORS: dict[str, PriorTable] = {
    table.key: table
    for table in (
        _symmetric("knee femur 2D", 0.354, 0.254, 0.054, 0.030, _KNEE_2D),
        _symmetric("knee tibia 2D", 0.365, 0.243, 0.059, 0.030, _KNEE_2D),
        _symmetric("knee femur demographic", 0.437, 0.232, 0.049, 0.0, _KNEE_DATA),
        _symmetric("knee tibia demographic", 0.437, 0.259, 0.022, 0.0, _KNEE_DATA),
        _symmetric("knee femur CT", 0.701, 0.145, 0.005, 0.0, "femoral sizes from 3D bone shape, 2023"),
        _symmetric("hip cup 2D", 0.289, 0.175, 0.096, 0.169, _HIP_2D),
        _symmetric("hip stem 2D", 0.272, 0.169, 0.088, 0.214, _HIP_2D),
        _symmetric("hip stem 2D, single taper", 0.491, 0.230, 0.019, 0.010, "106 hips, 2025; tails assumed"),
        _symmetric("knee other side", 0.896, 0.044, 0.008, 0.0, "530 patients, both knees; tails assumed"),
    )
}


def chances(weights: Sequence[float] | Floats, what: str) -> Floats:
    """Weights as chances that sum to 1, shape (k,).

    Raises
    ------
    PlanningError
        For no weights, or weights that are negative, not finite, or all nought; `what` names them.
    """
    law = np.asarray(weights, dtype=np.float64)
    if law.ndim != 1 or law.size == 0:
        raise PlanningError(f"{what} must be one row of weights.")
    if not np.isfinite(law).all() or (law < 0).any() or law.sum() <= 0:
        raise PlanningError(f"{what} must hold weights of nought or more, not all nought.")
    return np.asarray(law / law.sum(), dtype=np.float64)


def load_table(weights: Sequence[float] | Floats, floor: float = FLOOR) -> Floats:
    """An offset law as stored, made fit for learning: no cell under `floor`, the sum 1.

    Parameters
    ----------
    weights : (2h + 1,), from -h to +h, nought or more, any sum.
    floor : least chance of a cell before the last normalising.

    Returns
    -------
    (2h + 1,) chances.

    Raises
    ------
    PlanningError
        For an even number of cells, or weights that are negative, not finite, or all nought.
    """
    law = chances(weights, "An error table")
    if law.size % 2 == 0:
        raise PlanningError("An error table has an odd number of cells, with nought in the middle.")
    lifted = np.maximum(law, floor)
    return np.asarray(lifted / lifted.sum(), dtype=np.float64)


def spread(
    low: int,
    high: int,
    offsets: Sequence[float] | Floats,
    n_sizes: int,
    weights: Sequence[float] | None = None,
    confidence: float | None = None,
) -> Floats:
    """The chance of each size, from a predicted size (low = high) or range.

    Each size of the range is equally likely to be the predicted one, unless `weights` are given; the
    offset law is added and folded on to the end sizes, so no mass is lost outside the family. With a
    `confidence` the sizes of the range together get just that chance, shared as predicted, and the rest
    goes outside of it in the proportions of the folded law; if that law leaves nothing outside (the range
    is the whole family) the range keeps all.

    Parameters
    ----------
    low, high : ranks, 0 <= low <= high < n_sizes.
    offsets : (2h + 1,) offset law from -h to +h; normalised here.
    n_sizes : number of sizes of the family.
    weights : (high - low + 1,) or None.
    confidence : in (0, 1], or None.

    Returns
    -------
    (n_sizes,) chances, sum 1.

    Raises
    ------
    PlanningError
        If the range is not inside the family or upside down, or a law or confidence makes no sense.
    """
    if n_sizes < 1 or not 0 <= low <= high < n_sizes:
        raise PlanningError(f"The range {low} to {high} does not lie within {n_sizes} sizes.")
    law = chances(offsets, "An offset law")
    if law.size % 2 == 0:
        raise PlanningError("An offset law has an odd number of cells, with nought in the middle.")
    width = high - low + 1
    predicted = chances([1.0] * width if weights is None else weights, "The weights of a range")
    if predicted.size != width:
        raise PlanningError(f"A range of {width} sizes needs {width} weights, not {predicted.size}.")
    half = law.size // 2
    reached = np.add.outer(np.arange(low, high + 1), np.arange(-half, half + 1))
    folded = np.bincount(
        np.clip(reached, 0, n_sizes - 1).ravel(),
        weights=np.outer(predicted, law).ravel(),
        minlength=n_sizes,
    ).astype(np.float64)
    if confidence is None:
        return folded
    if not 0.0 < confidence <= 1.0:
        raise PlanningError("A confidence lies above 0 and is at most 1.")
    return _within(folded, low, high, predicted, confidence)


def _within(folded: Floats, low: int, high: int, predicted: Floats, confidence: float) -> Floats:
    outside = folded.copy()
    outside[low : high + 1] = 0.0
    beyond = float(outside.sum())
    chances = outside * ((1.0 - confidence) / beyond) if beyond > 0.0 else outside
    chances[low : high + 1] = predicted * (confidence if beyond > 0.0 else 1.0)
    return np.asarray(chances, dtype=np.float64)
