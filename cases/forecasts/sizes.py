"""From a prediction, or from what was used lately, to a weight for each component of one family."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from cases.forecasts.learnt import ErrorLaw, ErrorLaws
from cases.planning import sizing
from cases.planning.learning import DEFAULT_STRENGTH

ASSUMED_SECONDS = (0.47, 0.30, 0.13, 0.05, 0.03, 0.02)
"""Thinnest first: the shape that is assumed for an insert's thickness until outcomes of our own say
otherwise.

No table of frequencies has been published; only that the thin ones are the bulk is known.
"""


class HasRanks(Protocol):
    """A component, as far as its size matters."""

    @property
    def id(self) -> int: ...
    @property
    def size_rank(self) -> int: ...
    @property
    def second_rank(self) -> int: ...


class HasRange(Protocol):
    """A prediction: ranks of the family's sizes, both ends included."""

    @property
    def low(self) -> int: ...
    @property
    def high(self) -> int: ...
    @property
    def confidence(self) -> float | None: ...
    @property
    def method(self) -> str: ...
    @property
    def planner_id(self) -> int | None: ...


@dataclass(frozen=True, slots=True)
class Basis:
    """What the chances of a slot rest on.

    `sizes`: prediction, history, none (each size alike) or linked (follows the sizes it must fit).
    `outcomes` of our own have been added to it; `errors` is the law of the prediction's error, if it has one.
    `seconds`: history, assumed, none, or "" where there is no second measure.
    """

    sizes: str
    outcomes: int
    seconds: str
    errors: ErrorLaw | None = None


def size_law(
    components: Sequence[HasRanks],
    *,
    slot: str,
    second_measure: str,
    prediction: HasRange | None,
    predicted: bool,
    linked: bool,
    errors: ErrorLaws,
    used: Mapping[int, int],
) -> tuple[list[float], Basis | None]:
    """Weights of one family's components for one slot, and what they rest on.

    `used` are outcomes of the slot lately, by component id. Sizes and second measures are taken as
    independent. Sum 1, but for sizes that the family lacks. Empty for no components.
    """
    if not components:
        return [], None
    n_sizes = 1 + max(row.size_rank for row in components)
    n_seconds = 1 + max(row.second_rank for row in components)
    sizes, basis, count, law = _sizes(
        components,
        n_sizes,
        slot=slot,
        prediction=prediction if predicted else None,
        free=not predicted and linked,
        errors=errors,
        used=used,
    )
    seconds, second_basis = _seconds(components, n_seconds, "thick" in second_measure.lower(), used)
    per_cell: dict[tuple[int, int], int] = defaultdict(int)
    for row in components:
        per_cell[row.size_rank, row.second_rank] += 1
    weights = [
        sizes[row.size_rank] * seconds[row.second_rank] / per_cell[row.size_rank, row.second_rank]
        for row in components
    ]
    return weights, Basis(basis, count, second_basis, law)


def _sizes(
    components: Sequence[HasRanks],
    n: int,
    *,
    slot: str,
    prediction: HasRange | None,
    free: bool,
    errors: ErrorLaws,
    used: Mapping[int, int],
) -> tuple[list[float], str, int, ErrorLaw | None]:
    if prediction is not None:
        law = errors.of(slot, prediction.method, prediction.planner_id)
        # A prediction outside the family (an old one, after the family was changed) is folded at its ends.
        low, high = min(prediction.low, n - 1), min(prediction.high, n - 1)
        spread = sizing.spread(low, high, law.offsets, n, confidence=prediction.confidence)
        return [float(p) for p in spread], "prediction", law.outcomes, law
    if free:
        return [1.0 / n] * n, "linked", 0, None
    counts = _counts(((row.size_rank, used.get(row.id, 0)) for row in components), n)
    total = sum(counts)
    law_of_use = [(count + DEFAULT_STRENGTH / n) / (total + DEFAULT_STRENGTH) for count in counts]
    return law_of_use, "history" if total else "none", total, None


def _seconds(
    components: Sequence[HasRanks], n: int, thickness: bool, used: Mapping[int, int]
) -> tuple[list[float], str]:
    if n == 1:
        return [1.0], ""
    if thickness:
        prior = [ASSUMED_SECONDS[min(rank, len(ASSUMED_SECONDS) - 1)] for rank in range(n)]
        prior = [p / sum(prior) for p in prior]
    else:
        prior = [1.0 / n] * n
    counts = _counts(((row.second_rank, used.get(row.id, 0)) for row in components), n)
    total = sum(counts)
    law = [
        (count + DEFAULT_STRENGTH * p) / (total + DEFAULT_STRENGTH)
        for count, p in zip(counts, prior, strict=True)
    ]
    return law, "history" if total else "assumed" if thickness else "none"


def _counts(pairs: Iterable[tuple[int, int]], n: int) -> list[int]:
    counts = [0] * n
    for rank, count in pairs:
        counts[rank] += count
    return counts
