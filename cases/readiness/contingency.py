"""Keeps the stated chance of a contingency family true where slots are linked.

A constrained femoral goes with a constrained insert: each has its small chance, and the product of the two
would all but vanish once the rules have taken out the mixed pairs. The families' shares are therefore scaled,
slot by slot in turn, until the joint law gives each the chance that the plan states (iterative proportional
fitting).
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from cases.planning.fit import joint
from cases.planning.kinds import CaseDemand, Rule
from cases.planning.parts import Part
from cases.readiness.parts import SlotPart

ROUNDS = 50
CLOSE = 1e-9


def balanced(parts: Sequence[SlotPart], rules: Sequence[Rule]) -> list[SlotPart]:
    """The same slots with their families' shares scaled; unchanged where no linked slot has a contingency.

    A share that the rules make impossible stays as it is.
    """
    several = {n for n, part in enumerate(parts) if len({row.family_id for row in part.components}) > 1}
    if not any(rule.a in several or rule.b in several for rule in rules):
        return list(parts)
    law = joint(CaseDemand(0, tuple(part.law for part in parts), tuple(rules)))
    changed = list(parts)
    for block in law.parts:
        linked = [slot for slot in block.slots if slot in several]
        if linked and len(block.slots) > 1:
            for slot, factors in _scaled(block, linked, parts).items():
                own = parts[slot]
                weights = tuple(
                    weight * factors[row.family_id]
                    for weight, row in zip(own.law.weights, own.components, strict=True)
                )
                changed[slot] = replace(own, law=replace(own.law, weights=weights))
    return changed


def _scaled(block: Part, slots: Sequence[int], parts: Sequence[SlotPart]) -> dict[int, dict[int, float]]:
    p = block.p.copy()
    numbered = {}
    for slot in slots:
        own = parts[slot]
        families = sorted({row.family_id for row in own.components})
        # The last number stands for "not used" (index -1), which keeps its chance.
        codes = np.array([families.index(row.family_id) for row in own.components] + [len(families)])
        weights = np.array([*own.law.weights, 0.0])
        wanted = np.bincount(codes, weights=weights, minlength=len(families) + 1)[:-1] / sum(own.law.weights)
        numbered[slot] = (families, codes[block.column(slot)], wanted, np.ones(len(families) + 1))
    for _ in range(ROUNDS):
        most = 0.0
        for slot in slots:
            _, drawn, wanted, factors = numbered[slot]
            shares = np.bincount(drawn, weights=p, minlength=len(factors))
            used = shares[:-1].sum()
            ratio = np.ones(len(factors))
            possible = (shares[:-1] > 0) & (wanted > 0)
            ratio[:-1][possible] = wanted[possible] * used / shares[:-1][possible]
            p = p * ratio[drawn]
            p /= p.sum()
            factors *= ratio
            most = max(most, float(np.abs(ratio - 1).max()))
        if most < CLOSE:
            break
    return {
        slot: {family: float(factors[number]) for number, family in enumerate(families)}
        for slot, (families, _, _, factors) in numbered.items()
    }
