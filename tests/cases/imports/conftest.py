"""Handing in files in tests: a table as bytes, checked and applied as somebody."""

import csv
import io
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest

from cases.desks.importing import import_check, kind_named
from tests.world import World, make_world
from trays.exchange.models import ImportRun

AT = datetime(2026, 12, 1, 9, 0, tzinfo=UTC)


def table(*lines: dict[str, Any] | list[Any]) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out)
    if lines and isinstance(lines[0], dict):
        heads = list(dict.fromkeys(name for line in lines for name in line))
        writer.writerow(heads)
        writer.writerows([[line.get(name, "") for name in heads] for line in lines])
    else:
        writer.writerows(lines)
    return out.getvalue().encode()


@pytest.fixture
def world(db: None) -> World:
    return make_world()


@pytest.fixture
def check(world: World) -> Callable[..., ImportRun]:
    """check(kind, row, row, …, by=person): the run, checked; by the keeper if nobody is named."""

    def hand_in(kind: str, *lines: Any, by: Any = None, at: datetime = AT) -> ImportRun:
        raw = lines[0] if lines and isinstance(lines[0], bytes) else table(*lines)
        return import_check(
            kind=kind_named(kind),
            file=io.BytesIO(raw),
            file_name=f"{kind}.csv",
            by=by or world.cast.keeper,
            at=at,
        )

    return hand_in


def told(run: ImportRun) -> list[tuple[int, str]]:
    """(row, column) of each fault, each of which must say what is wrong and what to do."""
    faults = list(run.faults.order_by("number", "pk"))
    assert all(fault.sentence and fault.next_step for fault in faults)
    return [(fault.number, fault.column) for fault in faults]
