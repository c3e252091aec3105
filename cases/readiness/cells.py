"""What a size range picture shows of each size: its units as cells, in order of use."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Protocol

from cases.readiness.on_the_way import Coming
from trays.stock.queries import SHORT_DATED_DAYS

MOST_ON_ORDER = 99


@dataclass(frozen=True, slots=True)
class Cell:
    """One unit. `owner`: owned, consigned or loaned; `held`: "", mine or other."""

    owner: str
    held: str = ""
    short_dated: bool = False
    on_order: bool = False

    @property
    def usable(self) -> bool:
        return self.held != "other" and not self.on_order


@dataclass(frozen=True, slots=True)
class Column:
    """One size. `measure` is a chance from 0 to 1, or wanted units on a family's page.

    `asked`: on a family's page the free units that the target asks for.
    """

    label: str
    measure: float
    cells: tuple[Cell, ...] = ()
    group: str = ""
    asked: int | None = None


@dataclass(frozen=True, slots=True)
class SetBracket:
    """A set and the run of columns it serves, both ends included."""

    words: str
    first: int
    last: int
    ready: bool = True


class UnitLike(Protocol):
    """A unit as far as a cell shows it; `case_id` and `list_id` are those of its open hold."""

    @property
    def tenure(self) -> str: ...
    @property
    def expires(self) -> date | None: ...
    @property
    def case_id(self) -> int | None: ...
    @property
    def list_id(self) -> int | None: ...


def cells_in_order(
    units: Iterable[UnitLike],
    *,
    owner_order: Sequence[str],
    day: date,
    case_id: int | None = None,
    list_id: int | None = None,
) -> tuple[Cell, ...]:
    """Cells in order of use: first expired first within the site's owner order; what is out of date is
    left out.

    A unit is short-dated if it expires within `SHORT_DATED_DAYS` of the day.
    """
    soon = day + timedelta(days=SHORT_DATED_DAYS)
    order = {owner: number for number, owner in enumerate(owner_order)}
    kept = [unit for unit in units if unit.expires is None or unit.expires >= day]
    kept.sort(key=lambda unit: (order.get(unit.tenure, len(order)), unit.expires or date.max))

    def held(unit: UnitLike) -> str:
        if unit.case_id is None and unit.list_id is None:
            return ""
        mine = (unit.case_id is not None and unit.case_id == case_id) or (
            unit.list_id is not None and unit.list_id == list_id
        )
        return "mine" if mine else "other"

    return tuple(
        Cell(unit.tenure, held(unit), unit.expires is not None and unit.expires < soon) for unit in kept
    )


def on_order_cells(coming: Iterable[Coming], day: date | None = None) -> tuple[Cell, ...]:
    """One empty cell for each piece on its way that comes before a day; they follow all that is here."""
    pieces = sum(one.pieces for one in coming if day is None or one.due < day)
    return tuple(Cell("", on_order=True) for _piece in range(min(pieces, MOST_ON_ORDER)))
