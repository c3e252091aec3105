"""The level of one component against counting every possible outcome."""

import itertools
import math
import random
from collections.abc import Iterator
from datetime import date, timedelta

import pytest

from cases.reorders.alerts import AlertRow, look, site_wishes
from cases.reorders.alerts import judge as judge_among
from cases.reorders.demand import HISTORY_DAYS, Draw, ItemFacts, PileStock, SiteFacts, StockUnit
from cases.reorders.wishes import Wishes
from trays.catalogue.models import Component, Family
from trays.parties.models import Party

DAY = date(2026, 12, 7)
TARGET = 0.98
UNTIL = DAY + timedelta(days=9)  # five working days ahead and two of lead time


def component(lead: int = 2, multiple: int = 1, kind: str = "implant") -> Component:
    supplier = Party(code="MER", name="Merrowfield", kind="supplier", lead_working_days=lead)
    family = Family(code="fam", name="Family", kind=kind)
    return Component(
        code="c", name="Component", family=family, supplier=supplier, size="3", order_multiple=multiple
    )


def judge(item: ItemFacts, *, day: date) -> AlertRow | None:
    """The alert for an item that is all its cases draw."""
    return judge_among(item, 0, wishes_of(item), day=day)


def wishes_of(item: ItemFacts) -> Wishes:
    return site_wishes(SiteFacts(DAY, (item,), TARGET))


def outcomes(draws: tuple[Draw, ...]) -> Iterator[tuple[float, tuple[int, ...]]]:
    """Every way the cases may take it, with its chance."""
    laws = [((0, 1 - draw.one - draw.two), (1, draw.one), (2, draw.two)) for draw in draws]
    for chosen in itertools.product(*laws):
        yield math.prod(chance for _taken, chance in chosen), tuple(taken for taken, _chance in chosen)


def left_over(draws: tuple[Draw, ...], units: tuple[StockUnit, ...], taken: tuple[int, ...]) -> int:
    """How many free units these takings ask for, after each case's and then each list's held units."""
    asked: dict[int | None, int] = {}
    for draw, count in zip(draws, taken, strict=True):
        own = sum(1 for unit in units if unit.case_id == draw.case_id)
        asked[draw.list_id] = asked.get(draw.list_id, 0) + max(0, count - own)
    kept = {key: sum(1 for unit in units if key is not None and unit.list_id == key) for key in asked}
    return sum(max(0, count - kept[key]) for key, count in asked.items())


def brute_level(item: ItemFacts, unbooked: float) -> int:
    """The least number of free units that is enough with the wanted chance, by adding up all outcomes."""
    enough = [0.0] * 40
    for chance, taken in outcomes(item.draws):
        need = left_over(item.draws, item.units, taken)
        for extra in range(30):
            poisson = math.exp(-unbooked) * unbooked**extra / math.factorial(extra)
            for level in range(need + extra, 40):
                enough[level] += chance * poisson
    return next(level for level, chance in enumerate(enough) if chance >= item.wanted - 1e-9)


def random_item(seed: int) -> tuple[ItemFacts, float]:
    pick = random.Random(seed)
    draws = []
    for case_id in range(1, pick.randint(1, 5) + 1):
        one = pick.random() * 0.9
        two = pick.random() * (1 - one) if pick.random() < 0.3 else 0.0
        day = DAY + timedelta(days=pick.randint(0, 9))
        draws.append(Draw(day, case_id, list_id=pick.choice([7, 8]), one=one, two=two))
    units = []
    for _n in range(pick.randint(0, 5)):
        keeper = pick.random()
        far = DAY + timedelta(days=400)
        if keeper < 0.4:
            units.append(StockUnit(far, "owned", case_id=pick.choice(draws).case_id))
        elif keeper < 0.6:
            units.append(StockUnit(far, "owned", list_id=pick.choice(draws).list_id))
        else:
            units.append(StockUnit(far, "owned"))
    rate = pick.choice([None, 0.0, 0.1, 0.4])
    item = ItemFacts(
        component(), tuple(units), draws=tuple(draws), rate=rate, wanted=pick.choice([0.9, 0.98, 0.999])
    )
    booked = sum(draw.one + 2 * draw.two for draw in draws)
    return item, max(0.0, (rate or 0.0) * 10 - booked)


@pytest.mark.parametrize("seed", range(60))
def test_the_level_is_the_one_that_counting_every_outcome_gives(seed: int) -> None:
    item, unbooked = random_item(seed)
    view = look(item, day=DAY, until=UNTIL)
    assert view.unbooked == pytest.approx(unbooked)
    assert view.asked == brute_level(item, unbooked)
    assert view.free == sum(1 for unit in item.units if unit.free)


@pytest.mark.parametrize("seed", range(60))
def test_usable_and_wanted_differ_by_what_free_stock_lacks(seed: int) -> None:
    item, _unbooked = random_item(seed)
    view = look(item, day=DAY, until=UNTIL, wished=wishes_of(item).units[0])
    row = judge(item, day=DAY)
    if row is None:
        assert view.asked <= view.free
    else:
        assert row.missing == view.asked - view.free == row.suggested


def test_a_held_unit_serves_its_case_and_nobody_else() -> None:
    sure = Draw(DAY + timedelta(days=1), 1, one=1.0)
    other = Draw(DAY + timedelta(days=2), 2, one=1.0)
    held = StockUnit(None, "owned", case_id=1)
    served = ItemFacts(component(), (held,), draws=(sure,))
    assert judge(served, day=DAY) is None
    row = judge(ItemFacts(component(), (held,), draws=(sure, other)), day=DAY)
    assert row is not None
    assert (row.usable, row.held, row.wanted, row.missing) == (1, 1, 2, 1)


def test_a_unit_held_for_a_later_case_counts_on_neither_side() -> None:
    soon = Draw(DAY + timedelta(days=2), 1, one=1.0)
    far_off = Draw(DAY + timedelta(days=25), 2, one=1.0)
    held = StockUnit(None, "owned", case_id=2)
    row = judge(ItemFacts(component(), (held,), draws=(soon, far_off)), day=DAY)
    assert row is not None
    assert (row.usable, row.kept, row.wanted) == (0, 1, 1)


def test_a_unit_that_expires_within_the_window_is_told_as_short_dated() -> None:
    stale = StockUnit(UNTIL - timedelta(days=1), "owned")
    last_day = StockUnit(UNTIL, "owned")
    draw = Draw(DAY + timedelta(days=8), 1, one=1.0)
    row = judge(ItemFacts(component(), (stale,), draws=(draw,)), day=DAY)
    assert row is not None
    assert (row.usable, row.short_dated, row.wanted) == (0, 1, 1)
    assert judge(ItemFacts(component(), (last_day,), draws=(draw,)), day=DAY) is None


def test_bookings_use_up_the_forecast_before_it_adds_to_them() -> None:
    rate = 9 / HISTORY_DAYS
    booked = tuple(Draw(DAY + timedelta(days=n), n, one=0.3) for n in range(1, 4))
    view = look(ItemFacts(component(), draws=booked, rate=rate), day=DAY, until=UNTIL)
    assert (view.booked, view.unbooked) == (pytest.approx(0.9), 0.0)
    alone = look(ItemFacts(component(), rate=rate), day=DAY, until=UNTIL)
    assert alone.unbooked == pytest.approx(0.5)


def test_without_use_there_is_no_forecast_and_only_bookings_count() -> None:
    draw = Draw(DAY + timedelta(days=4), 1, one=1.0)
    row = judge(ItemFacts(component(), draws=(draw,)), day=DAY)
    assert row is not None
    assert (row.forecast, row.expected_unbooked, row.wanted) == (False, 0.0, 1)
    assert judge(ItemFacts(component()), day=DAY) is None


def test_the_order_comes_in_multiples_and_the_sites_least_is_kept() -> None:
    row = judge(ItemFacts(component(multiple=5), least=7, units=(StockUnit(None, "owned"),)), day=DAY)
    assert row is not None
    assert (row.wanted, row.missing, row.suggested) == (7, 6, 10)
    assert (row.short_on, row.late, row.order_by) == (None, False, DAY)


@pytest.mark.parametrize(
    ("days", "late", "by"),
    [
        (1, True, DAY),  # tomorrow: an order today comes on Wednesday
        (3, False, DAY),  # Thursday: ordered today, here on Wednesday
        (4, False, DAY + timedelta(days=1)),
        (7, False, DAY + timedelta(days=2)),  # Monday: here on Friday, so ordered on Wednesday
        (8, False, DAY + timedelta(days=3)),  # the weekend is no time to deliver
    ],
)
def test_the_first_case_that_may_find_none_sets_the_day_to_order(days: int, late: bool, by: date) -> None:
    draw = Draw(DAY + timedelta(days=days), 1, one=0.5)
    row = judge(ItemFacts(component(), draws=(draw,)), day=DAY)
    assert row is not None
    assert (row.short_on, row.late, row.order_by) == (draw.day, late, by)


def test_consumables_count_in_pieces_as_the_plans_say() -> None:
    draws = tuple(Draw(DAY + timedelta(days=n), n, fixed=4) for n in range(1, 6))
    piles = (PileStock(None, 11), PileStock(DAY + timedelta(days=2), 40))
    row = judge(ItemFacts(component(kind="consumable", multiple=10), piles=piles, draws=draws), day=DAY)
    assert row is not None
    assert (row.usable, row.short_dated, row.wanted, row.suggested, row.pieces) == (11, 40, 20, 10, True)
    assert row.short_on == DAY + timedelta(days=3)
