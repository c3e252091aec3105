"""A tighter proven bound where a need may be met by several sets.

Counting a need on all its sets is safe but far too dark for a set that only stands in for another. Let W1 be
what is asked for as the first of a need's options, and let case c ask for the set as a later option with
chance p_c, the earlier ones being absent with chance at most l_c. Then P(W >= k) <= P(W1 >= k) + sum of p_c
l_c: either the first demands alone are that many, or somebody took the set as a stand-in. The l_c come from
the first bound, in which every need counts on all its sets, so the sum is proven too, whatever depends on
what.
"""

from __future__ import annotations

import numpy as np

from cases.planning.horizon_arrays import Arrays, gathered
from cases.planning.horizon_kernel import tails
from cases.planning.horizon_takers import Takers
from cases.planning.parts import Bools, Floats


def eased(arrays: Arrays, takers: Takers, weight: Floats, lacks: Floats, first: Floats) -> Floats:
    """The least of the first tails and those of the better bound.

    Parameters
    ----------
    arrays : Arrays
    takers : Takers
    weight : float array, shape (T,)
        Chance of each term.
    lacks : float array, shape (P, K)
        Chances of lack by the first bound.
    first : float array, shape (takers, K + 2)
        Tails of the first bound.
    """
    later = _later(arrays)
    # Where one combination asks for two of a set, all its demand counts as first.
    pairs = len(arrays.pair_case)
    two = gathered(arrays.option_pair, arrays.option_law[:, 1:].sum(axis=1), pairs)
    later &= two[arrays.option_pair] == 0
    if not later.any():
        return first
    draws = arrays.chance.sum(axis=1) > 0
    chances = weight[arrays.option_term] * draws[arrays.option_pair]
    risk = np.where(later, chances * _absent(arrays, lacks), 0.0)
    stands_in = gathered(arrays.option_pair, risk, pairs)
    touched = gathered(arrays.option_pair, np.where(later, chances, 0.0), pairs) > 0
    row = np.repeat(np.arange(len(takers.starts) - 1), np.diff(takers.starts))
    chosen = (np.bincount(row, weights=touched[takers.pair]) > 0)[row]
    law = _first_law(arrays, np.where(later, 0.0, chances), touched)
    sums = np.concatenate([[0.0], np.cumsum(stands_in[takers.pair])])
    load = np.maximum(0.0, sums[:-1] - sums[takers.first])
    drawn = np.where(chosen[:, None], takers.drawn(law), 0.0)
    better = tails(takers, drawn, arrays.width) + load[:, None]
    return np.where(chosen[:, None], np.minimum(first, better), first)


def _first_law(arrays: Arrays, chances: Floats, touched: Bools) -> Floats:
    """`Arrays.chance` of what is asked for as the first option; groups of a case are independent."""
    law = arrays.chance.copy()
    term_group = np.zeros(len(arrays.term_need), dtype=np.int64)
    term_group[arrays.entry_term] = arrays.combo_group[arrays.entry_combo]
    mine = np.flatnonzero(touched[arrays.option_pair])
    codes = arrays.option_pair[mine] * len(arrays.labels) + term_group[arrays.option_term[mine]]
    distinct, inverse = np.unique(codes, return_inverse=True)
    asked = np.bincount(inverse.ravel(), weights=chances[mine])
    pair = distinct // len(arrays.labels)
    law[touched] = 0.0
    for at, q in zip(pair.tolist(), np.minimum(1.0, asked).tolist(), strict=True):
        none = max(0.0, 1.0 - float(law[at].sum()))
        law[at] = law[at] * (1.0 - q) + np.concatenate([[none], law[at][:-1]]) * q
    return law


def _later(arrays: Arrays) -> Bools:
    """Whether each option is not the first of its term.

    Not where another group of the case may ask for a set of the term: it may have taken the first option
    itself, which no chance of lack by earlier cases counts.
    """
    later = np.diff(arrays.option_term, prepend=-1) == 0
    shared = (arrays.surplus != 0).any(axis=1)
    terms = len(arrays.term_need)
    together = np.bincount(arrays.option_term, weights=shared[arrays.option_pair], minlength=terms) > 0
    return np.asarray(later & ~together[arrays.option_term], dtype=np.bool_)


def _absent(arrays: Arrays, lacks: Floats) -> Floats:
    """Chance at most that all options before each are absent; 1 for the first. Shape (O,)."""
    lack = np.minimum(1.0, (arrays.option_law * lacks[arrays.option_pair]).sum(axis=1))
    found = np.ones(len(lack))
    for n in np.flatnonzero(_later(arrays)).tolist():
        found[n] = min(found[n - 1], lack[n - 1])
    return found
