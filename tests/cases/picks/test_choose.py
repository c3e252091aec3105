"""Which physical unit is taken: kept for the case first, then the site's order of owners, then the date."""

import random
from datetime import date, timedelta
from itertools import permutations

import pytest

from cases.picks.choose import Candidate, Heap, Kept, Part, Wanted, choose_piles, choose_units, in_date
from cases.picks.gather import natural

DAY = date(2026, 12, 8)
ORDER = ("consigned", "owned", "loaned")


def unit(number: int, tenure: str = "owned", days: int | None = 100, kept: Kept = Kept.FREE) -> Candidate:
    expires = None if days is None else DAY + timedelta(days=days)
    return Candidate(number, 7, tenure, expires, kept)


def first_of(*candidates: Candidate, order: tuple[str, ...] = ORDER) -> int | None:
    answers = {
        choose_units([Wanted(0, 7)], shuffled, owner_order=order, day=DAY).units.get(0)
        for shuffled in permutations(candidates)
    }
    (answer,) = answers
    return answer


def test_the_first_to_expire_goes_first() -> None:
    assert first_of(unit(1, days=90), unit(2, days=30), unit(3, days=None)) == 2


def test_the_owner_named_first_goes_before_a_shorter_date() -> None:
    assert first_of(unit(1, "owned", 5), unit(2, "consigned", 90)) == 2
    assert first_of(unit(1, "owned", 5), unit(2, "consigned", 90), order=("owned", "consigned")) == 1


def test_an_owner_that_the_site_does_not_name_comes_last() -> None:
    assert first_of(unit(1, "loaned", 5), unit(2, "owned", 90), order=("consigned", "owned")) == 2


def test_what_is_kept_for_the_case_goes_first_then_what_is_kept_for_its_list() -> None:
    own, listed = unit(1, "loaned", 300, Kept.OWN), unit(2, "owned", 300, Kept.LIST)
    assert first_of(unit(3, "consigned", 5), listed, own) == 1
    assert first_of(unit(3, "consigned", 5), listed) == 2


def test_what_is_kept_for_another_case_is_never_taken() -> None:
    assert first_of(unit(1, "consigned", 5, Kept.OTHER), unit(2, "loaned", 300)) == 2
    assert first_of(unit(1, kept=Kept.OTHER)) is None


@pytest.mark.parametrize(("days", "usable"), [(0, True), (1, True), (-1, False), (None, True)])
def test_a_unit_is_taken_on_its_last_day_and_not_after(days: int | None, usable: bool) -> None:
    assert (first_of(unit(1, days=days)) == 1) is usable
    assert in_date(unit(1, days=days).expires, DAY) is usable


def test_two_wanted_of_one_kind_get_two_units() -> None:
    wanted = [Wanted(0, 7), Wanted(1, 7)]
    choice = choose_units(wanted, [unit(1, days=9), unit(2, days=5)], owner_order=ORDER, day=DAY)
    assert choice.units == {0: 2, 1: 1}


def test_what_is_scarce_goes_to_the_likelier_and_the_other_is_told() -> None:
    wanted = [Wanted(0, 7, (1, -0.2)), Wanted(1, 7, (0, -0.7))]
    on_hand = [unit(1), unit(2, kept=Kept.OTHER), unit(3, days=-4)]
    choice = choose_units(wanted, on_hand, owner_order=ORDER, day=DAY)
    assert choice.units == {1: 1}
    (unmet,) = choice.unmet
    assert (unmet.key, unmet.on_hand, unmet.held, unmet.out_of_date) == (0, 3, 1, 1)


def test_the_choice_agrees_with_trying_every_order() -> None:
    """Brute force: of all ways to serve what is wanted, the one whose units come first in use."""
    draw = random.Random(11)
    for _turn in range(150):
        candidates = [
            unit(
                number,
                draw.choice(ORDER),
                draw.choice([-1, 0, 5, 5, 40, None]),
                draw.choice([Kept.FREE, Kept.FREE, Kept.OWN, Kept.LIST, Kept.OTHER]),
            )
            for number in range(draw.randint(0, 5))
        ]
        wanted = [Wanted(key, 7) for key in range(draw.randint(1, 3))]
        choice = choose_units(wanted, candidates, owner_order=ORDER, day=DAY)

        def use(one: Candidate) -> tuple[int, int, date, int]:
            return (one.kept, ORDER.index(one.tenure), one.expires or date.max, one.unit_id)

        fit = [one for one in candidates if one.kept != Kept.OTHER and in_date(one.expires, DAY)]
        number = min(len(fit), len(wanted))
        best = min(permutations(fit, number), key=lambda ones: [use(one) for one in ones])
        assert list(choice.units.values()) == [one.unit_id for one in best]
        assert len(choice.unmet) == len(wanted) - number


def test_a_consumable_is_taken_from_as_many_piles_as_it_needs() -> None:
    heaps = [
        Heap(1, "owned", DAY + timedelta(days=50), 3),
        Heap(2, "owned", DAY + timedelta(days=5), 2),
        Heap(3, "owned", DAY - timedelta(days=1), 50),
    ]
    assert choose_piles(4, heaps, owner_order=ORDER, day=DAY) == ((Part(2, 2), Part(1, 2)), 0)
    assert choose_piles(9, heaps, owner_order=ORDER, day=DAY) == ((Part(2, 2), Part(1, 3)), 4)
    assert choose_piles(1, [], owner_order=ORDER, day=DAY) == ((), 1)


def test_bins_stand_in_the_order_people_count_them() -> None:
    bins = ["A2-10", "A2-9", "", "B1-1", "A10-1", "A2-9b"]
    assert sorted(bins, key=natural) == ["", "A2-9", "A2-9b", "A2-10", "A10-1", "B1-1"]
