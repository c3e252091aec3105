"""Held units that count for the cases of a window, and whom each serves."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date

from cases.reorders.demand import Draw, StockUnit
from cases.reorders.levels import Kept

Keeper = tuple[str, int]


def held_units(units: Sequence[StockUnit], draws: Sequence[Draw]) -> dict[Keeper, list[StockUnit]]:
    """The held units that count, by keeper: held for a case (or list) that draws, and in date on its day.

    A case never takes more than two, a list not more than two for each of its cases.
    """
    case_days = {draw.case_id: draw.day for draw in draws}
    list_days: dict[int, list[date]] = defaultdict(list)
    for draw in draws:
        if draw.list_id is not None:
            list_days[draw.list_id].append(draw.day)
    found: dict[Keeper, list[StockUnit]] = defaultdict(list)
    for unit in units:
        if unit.case_id in case_days and unit.in_date(case_days[unit.case_id]):
            found[("case", unit.case_id)].append(unit)
        elif unit.list_id in list_days and unit.in_date(max(list_days[unit.list_id])):
            found[("list", unit.list_id)].append(unit)
    most = {key: 2 if key[0] == "case" else 2 * len(list_days[key[1]]) for key in found}
    return {key: kept[: most[key]] for key, kept in found.items()}


def kept(held: dict[Keeper, list[StockUnit]]) -> Kept:
    """How many there are for each case and each list."""
    return Kept(
        cases={key[1]: len(units) for key, units in held.items() if key[0] == "case"},
        lists={key[1]: len(units) for key, units in held.items() if key[0] == "list"},
    )
