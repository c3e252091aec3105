"""What a temperature log comes to: A0, F0, and how long it held within a band. Pure, on plain numbers.

Shown beside the machine's verdict and the person's decision, never instead of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

A0_FROM = 65.0
"""Degrees Celsius from which a wash counts (EN ISO 15883-1)."""
A0_REFERENCE, F0_REFERENCE, Z = 80.0, 121.1, 10.0


@dataclass(frozen=True, slots=True)
class Reading:
    """One moment of a log: seconds from its first row, and the coldest and the hottest point in degrees
    Celsius.
    """

    seconds: float
    coldest: float
    hottest: float


@dataclass(frozen=True, slots=True)
class Hold:
    """The longest stretch with every point within the band: its length, and the extremes within it."""

    seconds: float
    lowest: float | None
    highest: float | None


def _summed(log: Sequence[Reading], reference: float, start: float) -> float:
    """Equivalent seconds at the reference, each interval taken at the colder of its two ends: never too
    much.
    """
    total = 0.0
    for before, after in zip(log, log[1:], strict=False):
        cold = min(before.coldest, after.coldest)
        if cold >= start:
            total += 10.0 ** ((cold - reference) / Z) * (after.seconds - before.seconds)
    return total


def a0(log: Sequence[Reading]) -> float:
    """Disinfection of a wash, in equivalent seconds at 80 °C with z = 10 K, counted from 65 °C upward.

    Parameters
    ----------
    log : sequence of Reading, in order of time

    Examples
    --------
    >>> a0([Reading(0, 90.0, 90.0), Reading(60, 90.0, 90.0)])
    600.0
    """
    return _summed(log, A0_REFERENCE, A0_FROM)


def f0(log: Sequence[Reading]) -> float:
    """Lethality of a steam cycle, in equivalent minutes at 121.1 °C with z = 10 K.

    Examples
    --------
    >>> round(f0([Reading(0, 134.0, 134.0), Reading(180, 134.0, 134.0)]), 1)
    58.5
    """
    return _summed(log, F0_REFERENCE, float("-inf")) / 60.0


def hold(log: Sequence[Reading], low: float, high: float) -> Hold:
    """The longest unbroken stretch in which all points lie within `low` to `high`, both included.

    It runs from the first reading within the band to the last one; a single reading has no length.
    """
    best = Hold(0.0, None, None)
    stretch: list[Reading] = []
    for row in [*log, Reading(float("inf"), float("nan"), float("nan"))]:
        if low <= row.coldest and row.hottest <= high:
            stretch.append(row)
            continue
        if stretch:
            length = stretch[-1].seconds - stretch[0].seconds
            if best.lowest is None or length > best.seconds:
                best = Hold(length, min(r.coldest for r in stretch), max(r.hottest for r in stretch))
        stretch = []
    return best
