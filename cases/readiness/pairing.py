"""Linked slots whose prediction errors go together: what that makes of the chance of each pair of sizes."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from cases.forecasts.learnt import ErrorLaws
from cases.planning.kinds import Rule
from cases.planning.learning_pairs import Association, factors
from cases.planning.parts import Floats, Ints
from cases.readiness.parts import SlotPart

Weights = tuple[tuple[float, ...], ...]


class Pairing:
    """Puts the learnt association of two slots on their rule; what several cases share is worked out once."""

    def __init__(self, errors: ErrorLaws) -> None:
        self._errors = errors
        self._kept: dict[tuple[object, ...], Weights] = {}

    def association(self, a: SlotPart, b: SlotPart) -> Association | None:
        """What is known of two slots of one side; None unless both were predicted by one method."""
        one, two = a.facts.prediction, b.facts.prediction
        if not (a.basis.errors and b.basis.errors and one and two and one.method == two.method):
            return None
        return self._errors.pair(a.facts.code, b.facts.code, one.method)

    def weighted(self, rule: Rule, parts: Sequence[SlotPart]) -> Rule:
        """The rule with the pairs' weights, if the errors of its slots are better foretold together."""
        a, b = parts[rule.a], parts[rule.b]
        found = self.association(a, b)
        if found is None or not found.used:
            return rule
        # The association's odds are those of one method: with the laws they make the weights.
        key = (found.odds, a.law.weights, b.law.weights, a.law.items, b.law.items)
        if key not in self._kept:
            self._kept[key] = _weights(a, b, found)
        return replace(rule, weight=self._kept[key])


def _weights(a: SlotPart, b: SlotPart, association: Association) -> Weights:
    """By component, from the sizes of the predicted families; a contingency family is not tied to them."""
    (law_a, place_a), (law_b, place_b) = _by_size(a), _by_size(b)
    table = np.pad(factors(law_a, law_b, association), (0, 1), constant_values=1.0)
    return tuple(tuple(row) for row in table[np.ix_(place_a, place_b)].tolist())


def _by_size(slot: SlotPart) -> tuple[Floats, Ints]:
    """Chance of each size of the predicted family, and per component its size; -1 for other families'."""
    rows = zip(slot.components, slot.contingency, strict=True)
    place = np.array([-1 if spare else row.size_rank for row, spare in rows], dtype=np.int64)
    own = place >= 0
    law = np.bincount(place[own], weights=np.array(slot.law.weights)[own])
    return law.astype(np.float64), place
