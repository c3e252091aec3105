"""A horizon of four weeks from flat arrays: bound, estimate, what-ifs, one changed case, beside simulation.

Times are of the process, not of the wall's clock; ratios are of one run.
"""

import math
import tracemalloc
from collections.abc import Callable
from statistics import median
from time import process_time

import numpy as np

from cases.planning.horizon import Outlook, outlook
from cases.planning.horizon_arrays import Arrays, Stock, lay_out
from cases.planning.horizon_kernel import tails
from cases.planning.horizon_patterns import Pattern, slots_pattern
from cases.planning.horizon_sums import Shorts
from cases.planning.horizon_takers import own_of, takers_of
from cases.planning.simulate import simulate
from tests.bench.conftest import tell

SLOTS, CANDIDATES, SIZES = 4, 7, 12
ITEMS = 600
A_DAY = 20
CASES = 400
TARGET = 0.98


def spent(act: Callable[[], object], times: int = 7) -> float:
    """Median process time of so many calls."""
    found = []
    for _ in range(times):
        begun = process_time()
        act()
        found.append(process_time() - begun)
    return median(found)


def made(cases: int, seed: int = 1) -> tuple[list[Pattern], np.ndarray, Stock]:
    """Cases of four slots with seven candidate sizes each, stock to an item target of .98.

    What is used is back in one to five days.
    """
    lots = np.random.default_rng(seed)
    patterns = []
    for _ in range(cases):
        slots = []
        for family in lots.choice(ITEMS // SIZES, SLOTS, replace=False):
            middle = int(lots.integers(SIZES))
            first = min(max(middle - 3, 0), SIZES - CANDIDATES)
            items = family * SIZES + first + np.arange(CANDIDATES)
            weights = np.exp(-0.5 * ((items - family * SIZES - middle) / 1.1) ** 2) + 0.005
            slots.append((f"slot {family}", items, weights, 1.0 if lots.random() < 0.8 else 0.7, 0.02))
        patterns.append(slots_pattern(slots))
    day = 1 + np.arange(cases) // A_DAY
    back = lots.integers(1, 6, ITEMS)
    rate = np.zeros(ITEMS)
    for one in patterns:
        rate[one.items] += one.chance @ np.arange(1, one.width + 1)
    mean = rate / day[-1] * back
    return patterns, day, Stock.plain(np.array([_level(m) for m in mean.tolist()]), back)


def _level(mean: float) -> int:
    """The least stock that Poisson demand stays within with the target's chance."""
    level, chance = 0, math.exp(-mean)
    total = chance
    while total < TARGET:
        level += 1
        chance *= mean / level
        total += chance
    return level


def laid(patterns: list[Pattern], day: np.ndarray, stock: Stock) -> Arrays:
    number = np.arange(len(patterns))
    minute = day * 1440 + number
    return lay_out(patterns, number, stock, ref=number, day=day, start=minute, end=minute)


def test_the_stated_size() -> None:
    print()
    patterns, day, stock = made(CASES)
    arrays = laid(patterns, day, stock)
    takers = takers_of(arrays, own_of(arrays))
    drawn = takers.drawn(arrays.chance)
    tell(f"lay out {CASES} cases, {len(arrays.pair_case)} pairs", spent(lambda: laid(patterns, day, stock)))
    kernel = spent(lambda: tails(takers, drawn, arrays.width))
    tell("the kernel, one pass", kernel)
    found = outlook(arrays)
    whole = spent(lambda: outlook(arrays).about)
    tell("the bound alone", spent(lambda: outlook(arrays)))
    tell("bound and estimate", whole)
    tell("what-ifs for all items, bound and estimate apart", spent(lambda: _what_ifs(found)))
    draws = 10_000
    begun = process_time()
    played = simulate(arrays, draws)
    plays = process_time() - begun
    tell(
        f"{draws} plays of the exact rule",
        plays,
        f"{plays / kernel:.0f} kernels, {plays / whole:.0f} horizons",
    )
    share = played.p_short
    error = np.sqrt(np.maximum(share * (1 - share), 1 / draws) / draws)
    for name, one in (("at most", found.at_most.high), ("about", found.about.high)):
        rms = float(np.sqrt(np.mean((one - share) ** 2)))
        below = int((share - one > 3 * error).sum())
        print(f"    {name}: mean {one.mean():.5f}, rms {rms:.4f}, {below} cases below by 3 errors")
    print(f"    played: mean {share.mean():.5f}")
    assert not (share - found.at_most.high > 4.5 * error).any()


def _what_ifs(found: Outlook) -> None:
    for name in ("what_ifs", "bound_what_ifs", "kept_about", "kept_at_most"):
        found.__dict__.pop(name, None)
    assert len(found.what_ifs.more) == len(found.bound_what_ifs.more) == ITEMS


def test_one_changed_case() -> None:
    print()
    patterns, day, stock = made(CASES)
    before = outlook(laid(patterns, day, stock))
    other = [*patterns[:200], made(1, seed=9)[0][0], *patterns[201:]]
    changed = laid(other, day, stock)
    assert len(before.about.high) == CASES
    for what, act in (("the bound", _bound), ("bound and estimate", _both)):
        again = spent(lambda act=act: act(changed, before), 15)
        full = spent(lambda act=act: act(changed, None), 15)
        tell(f"{what}, all anew", full)
        tell(f"{what}, after one changed case", again, f"{full / again:.1f} times as fast")


def _bound(arrays: Arrays, before: Outlook | None) -> Shorts:
    return outlook(arrays, before).at_most


def _both(arrays: Arrays, before: Outlook | None) -> Shorts:
    return outlook(arrays, before).about


def test_cost_grows_with_the_pairs() -> None:
    print()
    last = 0.0
    for cases in (100, 400, 1_600, 6_400):
        patterns, day, stock = made(cases)
        arrays = laid(patterns, day, stock)
        seconds = spent(lambda arrays=arrays: outlook(arrays).about, 5)
        pairs = len(arrays.pair_case)
        tracemalloc.start()
        assert len(outlook(arrays).about.high) == cases
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        more = f"{seconds / pairs * 1e6:.2f} us a pair, at most {most / 2**20:.0f} MiB"
        tell(
            f"{cases} cases, {pairs} pairs", seconds, f"{more}; {seconds / last:.1f} times" if last else more
        )
        last = seconds
