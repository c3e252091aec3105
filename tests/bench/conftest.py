"""The demo's world for benches, and a clock that prints what it measured. Nothing here asserts a time."""

from collections.abc import Callable
from datetime import datetime
from statistics import median
from time import perf_counter
from typing import TypeVar

import pytest
from django.utils import timezone

from cases.desks.demo import world_ready
from tests.trays.processing.conftest import department as department
from trays.staff.models import Person

T = TypeVar("T")


def timed(act: Callable[[], T]) -> tuple[float, T]:
    """Seconds by the wall's clock that one call took, and its answer."""
    begun = perf_counter()
    answer = act()
    return perf_counter() - begun, answer


def median_of(act: Callable[[], object], times: int) -> float:
    """Median seconds of so many calls."""
    return median(timed(act)[0] for _ in range(times))


def tell(what: str, seconds: float, more: str = "") -> None:
    amount = f"{seconds:8.2f} s " if seconds >= 1 else f"{seconds * 1000:8.1f} ms"
    print(f"  {what:<58} {amount}  {more}".rstrip())


@pytest.fixture
def now() -> datetime:
    return timezone.now()


@pytest.fixture
def demo_world(db: None, now: datetime) -> Person:
    """The demo's world from today on; its keeper, who may do everything."""
    seconds, _answer = timed(lambda: world_ready(at=now))
    print()
    tell("the demo's world, all its files imported", seconds)
    return Person.objects.get(username="keeper")
