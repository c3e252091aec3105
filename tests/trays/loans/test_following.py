"""What follows for a loan from what happens to its packs and units."""

from datetime import datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from tests.world import NOW
from trays.instruments.models import PackState
from trays.loans.following import Happened, follow, steps_missing
from trays.loans.ways import LoanStatus, way

P = PackState
S = LoanStatus


def happened(*steps: tuple[int | None, str]) -> list[Happened]:
    return [Happened(NOW + timedelta(hours=n), pack, state) for n, (pack, state) in enumerate(steps)]


def statuses(packs: set[int], *steps: tuple[int | None, str]) -> list[str]:
    return [status for status, _at in follow(packs, happened(*steps))]


def test_it_is_processed_when_its_last_pack_is_ready() -> None:
    assert statuses({1, 2}, (1, P.RELEASED)) == []
    found = follow({1, 2}, happened((1, P.RELEASED), (1, P.STORED), (2, P.RELEASED)))
    assert found == [(S.PROCESSED, NOW + timedelta(hours=2))]


def test_it_is_in_use_from_the_first_pack_opened_until_the_last_one_is_clean() -> None:
    ready = ((1, P.RELEASED), (2, P.RELEASED))
    used = ((1, P.OPENED), (2, P.OPENED), (1, P.RECEIVED), (1, P.CLEANED), (2, P.RECEIVED))
    assert statuses({1, 2}, *ready, *used) == [S.PROCESSED, S.IN_USE]
    assert statuses({1, 2}, *ready, *used, (2, P.CLEANED)) == [S.PROCESSED, S.IN_USE, S.DECONTAMINATED]


def test_a_pack_that_is_torn_takes_it_back_to_be_made_sterile() -> None:
    assert statuses({1}, (1, P.RELEASED), (1, P.RECEIVED)) == [S.PROCESSED, S.CHECKED]


def test_it_may_serve_a_second_case() -> None:
    once = ((1, P.RELEASED), (1, P.OPENED), (1, P.RECEIVED), (1, P.CLEANED))
    assert statuses({1}, *once, *once) == [
        S.PROCESSED, S.IN_USE, S.DECONTAMINATED, S.PROCESSED, S.IN_USE, S.DECONTAMINATED,
    ]  # fmt: skip


def test_a_sealed_unit_that_was_used_has_it_in_use_until_its_packs_are_clean() -> None:
    assert statuses(set(), (None, "")) == [S.IN_USE]
    assert statuses({1}, (1, P.RELEASED), (None, ""), (1, P.OPENED), (1, P.CLEANED)) == [
        S.PROCESSED, S.IN_USE, S.DECONTAMINATED,
    ]  # fmt: skip


def test_only_what_is_not_on_record_yet_is_missing() -> None:
    whole = [(S.PROCESSED, NOW), (S.IN_USE, NOW), (S.DECONTAMINATED, NOW)]
    assert steps_missing(S.CHECKED, [], whole) == whole
    assert steps_missing(S.IN_USE, [S.PROCESSED, S.IN_USE], whole) == whole[2:]
    assert steps_missing(S.DECONTAMINATED, [S.PROCESSED, S.IN_USE, S.DECONTAMINATED], whole) == []
    # Where the record went another way, it is brought to where the loan stands.
    assert steps_missing(S.IN_USE, [S.IN_USE], whole) == whole[2:]
    assert steps_missing(S.ARRIVED, [], whole[:2]) == [whole[1]]
    assert steps_missing(S.ARRIVED, [], whole[:1]) == []
    assert steps_missing(S.RETURNED, [], whole) == []


@given(
    st.sets(st.integers(1, 3)),
    st.lists(st.tuples(st.integers(1, 3) | st.none(), st.sampled_from(list(P))), max_size=25),
)
def test_whatever_happens_only_ways_are_walked_and_following_twice_adds_nothing(
    packs: set[int], steps: list[tuple[int | None, str]]
) -> None:
    found = follow(packs, happened(*steps))
    moments = [at for _status, at in found]
    assert moments == sorted(moments)
    missing = steps_missing(S.CHECKED, [], found)
    walk = [S.CHECKED, *(status for status, _at in missing)]
    assert all(way(before, after) for before, after in zip(walk, walk[1:], strict=False))
    if len(missing) == len(found):
        assert steps_missing(walk[-1], [status for status, _at in found], found) == []


def test_moments_are_those_at_which_it_happened() -> None:
    late = datetime(2026, 12, 7, 6, 0, tzinfo=NOW.tzinfo)
    assert follow({1}, [Happened(late, 1, P.RELEASED)]) == [(S.PROCESSED, late)]
