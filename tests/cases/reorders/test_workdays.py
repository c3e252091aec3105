"""Lead times in working days."""

from datetime import date, timedelta

import pytest

from trays.parties.workdays import due, earlier, is_workday, later, order_by

MONDAY = date(2026, 12, 7)


@pytest.mark.parametrize(
    ("ordered", "lead", "here"),
    [
        (MONDAY, 0, MONDAY),
        (MONDAY, 2, MONDAY + timedelta(days=2)),
        (MONDAY + timedelta(days=3), 2, MONDAY + timedelta(days=7)),  # Thursday: Friday, Monday
        (MONDAY + timedelta(days=5), 1, MONDAY + timedelta(days=8)),  # Saturday counts as Monday
        (MONDAY, 10, MONDAY + timedelta(days=14)),
    ],
)
def test_goods_come_a_lead_time_of_working_days_later(ordered: date, lead: int, here: date) -> None:
    assert due(ordered, lead) == here


def test_order_by_is_the_last_day_that_is_in_time_for_every_day_and_lead_time() -> None:
    for offset in range(14):
        wanted = MONDAY + timedelta(days=30 + offset)
        for lead in range(8):
            last = order_by(wanted, lead)
            assert is_workday(last)
            assert due(last, lead) < wanted
            following = later(last + timedelta(days=1), 0)
            assert due(following, lead) >= wanted


def test_going_back_undoes_going_on_from_working_days() -> None:
    for offset in range(5):
        day = MONDAY + timedelta(days=offset)
        for count in range(9):
            assert earlier(later(day, count), count) == day
