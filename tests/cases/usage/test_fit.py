"""Pure: which pairs of a construct are looked at, and what the rules on file say of them."""

from datetime import date, timedelta
from itertools import combinations, product

from hypothesis import given
from hypothesis import strategies as st

from cases.usage.fit import ORDER, Judged, Piece, RuleRow, in_force, judge, worst
from cases.usage.models import Fits

DAY = date(2026, 12, 7)
FEMUR, TIBIA, INSERT, STEM = 1, 2, 3, 9
LINKED = frozenset({frozenset({"femoral", "tibial"}), frozenset({"femoral", "insert"})})
PLANNED = frozenset({"femoral", "tibial", "insert", "patellar"})


def rule(a: int, b: int, verdict: str, *, ranks: tuple[int, int] = (1, 1), days: int = 0) -> RuleRow:
    return RuleRow(a, ranks[0], b, ranks[1], verdict, f"Chart {days}", DAY + timedelta(days=days))


def piece(key: int, family: int, slot: str, rank: int = 1) -> Piece:
    return Piece(key, family, rank, slot)


def said(pieces: list[Piece], rules: list[RuleRow]) -> list[Judged]:
    return list(judge(pieces, in_force(rules, DAY), LINKED, PLANNED))


PAIR = [piece(1, FEMUR, "femoral"), piece(2, TIBIA, "tibial")]


def test_a_rule_holds_whichever_way_round_it_was_written() -> None:
    for one in (rule(FEMUR, TIBIA, "allowed"), rule(TIBIA, FEMUR, "allowed")):
        assert said(PAIR, [one]) == [Judged(1, 2, Fits.ALLOWED, "Chart 0")]


def test_the_newest_rule_stands_of_one_day_the_strictest_and_none_before_its_day() -> None:
    old, new = rule(FEMUR, TIBIA, "refused", days=-9), rule(TIBIA, FEMUR, "allowed", days=-1)
    later = rule(FEMUR, TIBIA, "caution", days=1)
    assert said(PAIR, [new, old, later])[0].fits == Fits.ALLOWED
    both = [rule(FEMUR, TIBIA, "caution"), rule(TIBIA, FEMUR, "allowed")]
    assert said(PAIR, both)[0].fits == said(PAIR, both[::-1])[0].fits == Fits.CAUTION
    assert said(PAIR, [later])[0].fits == Fits.NOT_KNOWN


def test_slots_that_the_plan_joins_need_a_rule_and_others_are_looked_at_where_a_rule_joins_them() -> None:
    tibia, insert = piece(2, TIBIA, "tibial"), piece(3, INSERT, "insert")
    assert said(PAIR, []) == [Judged(1, 2, Fits.NOT_KNOWN)]
    assert said([tibia, insert], []) == [] and worst([]) == Fits.NO_PAIR
    other_sizes = rule(TIBIA, INSERT, "allowed", ranks=(3, 3))
    assert said([tibia, insert], [other_sizes]) == [Judged(2, 3, Fits.NOT_KNOWN)]


def test_a_piece_that_neither_plan_nor_rule_knows_is_not_known() -> None:
    stem = piece(4, STEM, "stem")
    assert said([stem], []) == []
    assert Judged(4, None, Fits.NOT_KNOWN) in said([*PAIR, stem], [])
    known = said([*PAIR, stem], [rule(STEM, TIBIA, "allowed")])
    assert Judged(2, 4, Fits.ALLOWED, "Chart 0") in known and all(one.b is not None for one in known)


def test_two_pieces_of_one_slot_are_no_pair() -> None:
    assert (
        said([piece(1, FEMUR, "femoral"), piece(2, FEMUR, "femoral", 2)], [rule(FEMUR, 8, "refused")]) == []
    )


VERDICTS = st.sampled_from(["allowed", "caution", "refused"])
RULES = st.lists(
    st.builds(
        lambda pair, ranks, verdict, days: rule(*pair, verdict, ranks=ranks, days=days),
        st.sampled_from([(FEMUR, TIBIA), (TIBIA, FEMUR), (FEMUR, INSERT), (INSERT, TIBIA)]),
        st.tuples(st.integers(0, 2), st.integers(0, 2)),
        VERDICTS,
        st.integers(-3, 2),
    ),
    max_size=12,
)


@given(rules=RULES, ranks=st.tuples(*[st.integers(0, 2)] * 3))
def test_against_a_reckoning_pair_by_pair(rules: list[RuleRow], ranks: tuple[int, int, int]) -> None:
    """No order of pieces or rules matters, and a linked pair is allowed only by a rule that says so."""
    pieces = [
        piece(key, family, slot, rank)
        for key, (family, slot, rank) in enumerate(
            zip((FEMUR, TIBIA, INSERT), ("femoral", "tibial", "insert"), ranks, strict=True)
        )
    ]
    found = {(one.a, one.b): one.fits for one in said(pieces, rules)}
    assert found == {(one.a, one.b): one.fits for one in said(pieces, rules[::-1])}
    for a, b in combinations(pieces, 2):
        own = [
            (row.valid_from, ORDER.index(Fits(row.verdict)))
            for row, (first, second) in product(rules, ((a, b), (b, a)))
            if row.valid_from <= DAY
            and (row.family_a, row.rank_a, row.family_b, row.rank_b)
            == (first.family, first.rank, second.family, second.rank)
        ]
        if own:
            assert found[a.key, b.key] == ORDER[max(own)[1]]
        elif frozenset((a.slot, b.slot)) in LINKED:
            assert found[a.key, b.key] == Fits.NOT_KNOWN
        else:
            assert found.get((a.key, b.key), Fits.NOT_KNOWN) == Fits.NOT_KNOWN
