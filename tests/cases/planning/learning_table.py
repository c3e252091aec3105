"""What learning gains on invented data. `python -m tests.cases.planning.learning_table [WORLDS]` prints it.

So many groups (planners) with so many cases each. A planner's true law is drawn around the table, the closer
the higher `tau`. With drift, sizes are predicted one too large from half-way on, in up to 70 of 100 cases.
Each variant foretells every case from those before it; the mean log loss of what happened is compared (less
is better).
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cases.planning import sizing
from cases.planning.learning import (
    DEFAULT_STRENGTH,
    KEEP,
    Group,
    Strength,
    fit_strength,
    posterior,
    spoken_for,
)
from cases.planning.learning_scores import predicted

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

TABLE = sizing.load_table(sizing.PRIORS["knee femur 2D"].offsets)
GROUPS, CASES, FIRST = 40, 240, 60
TAUS = (5.0, 20.0, 100.0)
SCENARIOS = tuple((tau, drift) for tau in TAUS for drift in (False, True))
VARIANTS = ("fixed table", "alpha 1", "alpha fitted", "+ keep .98", "+ the others", "uniform prior")


@dataclass(frozen=True)
class Row:
    """One scenario: the fitted strength, the mean log loss by variant, and when learning is ahead.

    The case from which on `+ keep .98` is ahead of the fixed table for good: mean over the groups, and the
    median single group.
    """

    tau: float
    drift: bool
    fitted: Strength
    loss: dict[str, float]
    ahead_in_mean: int
    ahead_alone: int


def world(tau: float, drift: bool, seed: int, groups: int = GROUPS, cases: int = CASES) -> Ints:
    """Errors as cells of the table, shape (groups, cases)."""
    rng = np.random.default_rng([seed, int(tau), int(drift)])
    laws = rng.dirichlet(tau * TABLE, size=groups)
    cells = np.array([rng.choice(TABLE.size, size=cases, p=law) for law in laws])
    if drift:
        often = rng.random((groups, 1)) * 0.7
        late = np.arange(cases) >= cases // 2
        cells = np.where(late & (rng.random(cells.shape) < often), np.maximum(cells - 1, 0), cells)
    return cells.astype(np.int64)


def fitted_on_first(cells: Ints, first: int = FIRST) -> Strength:
    """The strength from each group's first cases."""
    return fit_strength([Group(TABLE, np.bincount(row[:first], minlength=TABLE.size)) for row in cells])


def losses(cells: Ints, prior: Floats, alpha: float, keep: float = 1.0) -> Floats:
    """Log loss of every case, shape (groups, cases)."""
    laws = np.array([predicted(prior, row, alpha, keep) for row in cells])
    return np.asarray(-np.log(np.take_along_axis(laws, cells[:, :, None], axis=2)[:, :, 0]), dtype=np.float64)


def losses_with_others(cells: Ints, alpha: float, keep: float = KEEP, every: int = 5) -> Floats:
    """The same where each planner shrinks to what the others' outcomes made of the table.

    So do the forecasts. Here it is brought up to date every few cases only.
    """
    found = np.zeros(cells.shape)
    shared = [TABLE] * len(cells)
    for start in range(0, cells.shape[1], every):
        if start:
            worth = [
                spoken_for(TABLE, np.bincount(row[:start], minlength=TABLE.size), alpha) for row in cells
            ]
            total = np.sum(worth, axis=0)
            shared = [posterior(TABLE, total - own, DEFAULT_STRENGTH) for own in worth]
        for group, row in enumerate(cells):
            laws = predicted(shared[group], row[: start + every], alpha, keep)[start:]
            found[group, start : start + every] = -np.log(
                laws[np.arange(len(laws)), row[start : start + every]]
            )
    return found


def scenario(tau: float, drift: bool, seed: int = 1, groups: int = GROUPS, cases: int = CASES) -> Row:
    """One row of the table."""
    cells = world(tau, drift, seed, groups, cases)
    strength = fitted_on_first(cells, min(FIRST, cases // 2))
    alpha = strength.alpha or DEFAULT_STRENGTH
    uniform = np.full(TABLE.size, 1 / TABLE.size)
    fixed = losses(cells, TABLE, 1e12)
    forgets = losses(cells, TABLE, alpha, KEEP)
    all_losses = dict(
        zip(
            VARIANTS,
            (
                fixed,
                losses(cells, TABLE, 1.0),
                losses(cells, TABLE, alpha),
                forgets,
                losses_with_others(cells, alpha),
                losses(cells, uniform, float(TABLE.size)),
            ),
            strict=True,
        )
    )
    gain = (fixed - forgets).cumsum(axis=1)
    return Row(
        tau=tau,
        drift=drift,
        fitted=strength,
        loss={name: float(values.mean()) for name, values in all_losses.items()},
        ahead_in_mean=_for_good(gain.mean(axis=0)),
        ahead_alone=int(np.median([_for_good(one) for one in gain])),
    )


def _for_good(gain: Floats) -> int:
    """The case from which on the gain stays above nought; one beyond the last if it does not end there."""
    behind = np.flatnonzero(gain <= 0)
    return int(behind[-1]) + 2 if behind.size else 1


def strengths(worlds: int, first: int = FIRST) -> dict[float, list[float]]:
    """Fitted strengths by true one, over worlds without drift."""
    return {
        tau: [
            fitted_on_first(world(tau, False, seed), first).alpha or math.nan for seed in range(1, worlds + 1)
        ]
        for tau in TAUS
    }


def recovered(found: dict[float, list[float]]) -> bool:
    """Whether the strength in the middle lies within a factor 1.5 of the true one."""
    return all(1 / 1.5 <= float(np.median(fitted)) / tau <= 1.5 for tau, fitted in found.items())


def mean_row(rows: Sequence[Row]) -> Row:
    """Several worlds of one scenario as one row; losses and strengths are means, cases are medians."""
    fitted = [row.fitted.alpha or math.nan for row in rows]
    return Row(
        tau=rows[0].tau,
        drift=rows[0].drift,
        fitted=Strength(float(np.mean(fitted)), rows[0].fitted.at),
        loss={name: float(np.mean([row.loss[name] for row in rows])) for name in VARIANTS},
        ahead_in_mean=int(np.median([row.ahead_in_mean for row in rows])),
        ahead_alone=int(np.median([row.ahead_alone for row in rows])),
    )


def lines(rows: Sequence[Row]) -> list[str]:
    """The table as text; a star at the least loss of a row."""
    heads = "".join(f"{name:>15}" for name in VARIANTS)
    said = [f"{'tau':>5} {'drift':<6}{heads}{'fitted':>9}{'ahead from case':>18}"]
    for row in rows:
        best = min(row.loss.values())
        cells = "".join(f"{value:>14.3f}{'*' if value == best else ' '}" for value in row.loss.values())
        drift = "yes" if row.drift else "no"
        ahead = f"{row.ahead_in_mean}; {row.ahead_alone}"
        said.append(f"{row.tau:>5.0f} {drift:<6}{cells}{row.fitted.alpha:>9.1f}{ahead:>18}")
    return said


def main(arguments: Sequence[str]) -> int:
    """Print the table, and how well the strength is recovered; 0 if learning keeps what it promises."""
    worlds = int(arguments[0]) if arguments else 5
    table = {
        (tau, drift): [scenario(tau, drift, seed) for seed in range(1, worlds + 1)]
        for tau, drift in SCENARIOS
    }
    rows = [mean_row(found) for found in table.values()]
    said = [
        f"Mean log loss in nats, {GROUPS} groups of {CASES} cases, means of {worlds} worlds;",
        f"strength fitted on each group's first {FIRST} cases",
        *lines(rows),
    ]
    won = sum(row.loss["+ keep .98"] < row.loss["fixed table"] for found in table.values() for row in found)
    said.append(f"+ keep .98 beats the fixed table in {won} of {len(rows) * worlds} worlds")
    found = {first: strengths(20, first) for first in (FIRST, CASES)}
    for first, by_tau in found.items():
        said.append(f"Fitted on {first} cases of each group, 20 worlds: least, median, greatest")
        for tau, fitted in by_tau.items():
            said.append(f"{tau:>5.0f}  {min(fitted):8.1f} {float(np.median(fitted)):8.1f} {max(fitted):8.1f}")
    learnt = all(row.loss[name] < row.loss["fixed table"] for row in rows for name in VARIANTS[2:5])
    near = all(recovered(by_tau) for by_tau in found.values())
    said.append(f"The fitted strength beats the fixed table in every scenario: {'yes' if learnt else 'NO'}")
    said.append(f"Its median lies within a factor 1.5 of the true one: {'yes' if near else 'NO'}")
    sys.stdout.write("\n".join(said) + "\n")
    return 0 if learnt and near else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
