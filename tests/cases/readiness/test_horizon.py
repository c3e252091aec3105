"""A site's whole horizon: how sure each word is, and that what is kept from before changes nothing."""

from dataclasses import replace
from datetime import timedelta

import pytest

from cases.bookings.kinds import PredictedSize
from cases.bookings.models import CaseSlot, Prediction
from cases.bookings.services import prediction_add
from cases.planning.kinds import CaseAnswer
from cases.readiness.assess import judge, judged
from cases.readiness.figures import figures, short_figures
from cases.readiness.kinds import Word
from cases.readiness.levels import level_of
from cases.readiness.snapshot import take
from cases.reservations.models import Hold
from tests.world import NOW, TODAY
from trays.catalogue.models import FitRule

SURE = {"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)}


def estimate(short: float, bound: float):
    answer = CaseAnswer(1, False, False, 1 - short, 1 - short, short, short, 0.0, (), (), (), ())
    return level_of(answer, wanted=0.99, margin=0.03, bound=(bound, bound))


# How sure


@pytest.mark.parametrize(
    ("short", "bound", "word", "says"),
    [
        (0.008, 0.009, Word.COVERED, "99 in 100; wanted 99"),
        (0.001, 0.009, Word.COVERED, "about 99 in 100; wanted 99"),
        (0.004, 0.02, Word.THIN, "about 99 in 100, at least 98; wanted 99"),
        (0.004, 0.2, Word.THIN, "about 99 in 100, at least 80; wanted 99"),
        (0.03, 0.05, Word.THIN, "about 97 in 100; wanted 99"),
        (0.08, 0.09, Word.SHORT, "about 92 in 100; wanted 99"),
    ],
)
def test_an_estimate_says_about_and_only_a_proof_says_covered(short, bound, word, says):
    level = estimate(short, bound)
    assert (level.word, figures(level)) == (word, says)
    assert short_figures(level) == says.split(" in ")[0]


def many(world, count: int, **where):
    return [world.a_case(predictions=SURE, hour=8, **where) for _ in range(count)]


def test_beyond_what_is_worked_out_exactly_lines_speak_of_about(world):
    world.stock_everything(4)
    world.sets_of_each(12)
    cases = many(world, 12)
    found = judge(take(site=world.site, at=NOW)).verdicts
    levels = [found[case.pk].on_site for case in cases]
    assert levels[0].word is Word.COVERED
    assert levels[-1].word is Word.SHORT and levels[-1].about
    assert not any(level.at_most for level in levels)
    assert levels[-1].surely is not None and levels[-1].surely <= levels[-1].chance
    last = found[cases[-1].pk]
    assert any("missing in about" in said for said in last.reasons)
    assert last.one_more is not None and ": about " in last.one_more.sentence
    chances = [level.chance for level in levels]
    assert chances == sorted(chances, reverse=True)


def test_a_few_cases_are_answered_exactly(world):
    world.stock_everything(2)
    world.sets_of_each(6)
    cases = many(world, 5)
    found = judge(take(site=world.site, at=NOW)).verdicts
    assert not any(found[case.pk].on_site.about for case in cases)
    assert found[cases[-1].pk].on_site.word is not Word.COVERED


def test_the_one_more_that_is_named_gives_what_was_said(world):
    world.stock_everything(3)
    world.sets_of_each(12)
    cases = many(world, 10)
    before = judge(take(site=world.site, at=NOW)).verdicts[cases[-1].pk]
    assert before.one_more is not None and before.on_site.about
    component = next(c for c in world.components.values() if c.pk == before.one_more.component_id)
    unit = world.unit(component)[0]
    Hold.objects.create(unit=unit, case=cases[-1], placed_at=NOW, placed_by=world.cast.coordinator)
    after = judge(take(site=world.site, at=NOW)).verdicts[cases[-1].pk]
    assert after.on_site.chance > before.on_site.chance
    assert after.on_site.chance == pytest.approx(before.one_more.level.chance, abs=0.005)


# Rules


def test_the_rules_that_clash_are_named(world):
    world.stock_everything(3)
    world.sets_of_each(2)
    case = world.a_case(predictions=SURE)
    femoral, tibial = world.families["femoral"], world.families["tibial"]
    FitRule.objects.filter(family_a=femoral, family_b=tibial).update(verdict="refused")
    verdict = judge(take(site=world.site, at=NOW)).verdicts[case.pk]
    assert "Femoral 1–4 RIGHT with Tibial 1–4" in verdict.fault
    assert "Insert" not in verdict.fault


# When


def test_the_first_day_at_risk_is_that_of_the_case_that_may_miss_the_component(world):
    world.stock_everything(1)
    world.sets_of_each(6)
    for number in range(3):
        world.a_case(predictions=SURE, day=TODAY + timedelta(days=number))
    at_risk = judge(take(site=world.site, at=NOW)).at_risk
    femoral = world.component("femoral", "2", side="right")
    assert at_risk[femoral.pk] == TODAY + timedelta(days=1)
    assert world.component("femoral", "2", side="left").pk not in at_risk


def test_a_unit_that_arrives_in_time_counts_from_its_day_on(world):
    world.stock_everything(3)
    world.sets_of_each(4)
    femoral = world.component("femoral", "2", side="right")
    femoral.units.all().delete()
    early = world.a_case(predictions=SURE)
    late = world.a_case(predictions=SURE, day=TODAY + timedelta(days=2))
    snapshot = take(site=world.site, at=NOW)
    base = judged(snapshot)
    more = judge(replace(snapshot, arrivals={femoral.pk: (TODAY + timedelta(days=2),)}), base).verdicts
    assert more[early.pk].on_site == base.horizon.verdicts[early.pk].on_site
    assert more[late.pk].on_site.chance > base.horizon.verdicts[late.pk].on_site.chance + 0.2


# What is kept


def test_what_is_kept_from_before_an_act_changes_no_verdict(world):
    world.stock_everything(2)
    world.sets_of_each(3)
    cases = [world.a_case(predictions=SURE, day=TODAY + timedelta(days=n // 4), hour=8) for n in range(10)]
    before = judged(take(site=world.site, at=NOW))
    assert judged(take(site=world.site, at=NOW), before).horizon == before.horizon
    acts = [
        lambda: Hold.objects.create(
            unit=world.component("femoral", "2", side="right").units.first(), case=cases[5], placed_at=NOW,
            placed_by=world.cast.coordinator,
        ),
        lambda: world.component("tibial", "2").units.update(expires=TODAY),
        lambda: world.unit(world.component("femoral", "1", side="right")),
        lambda: prediction_add(
            by=world.cast.coordinator, case=cases[3], at=NOW,
            predictions={
                CaseSlot.objects.get(construct__case=cases[3], plan_slot__code="femoral").pk: PredictedSize(
                    low_rank=3, high_rank=3, method=Prediction.Method.XRAY
                )
            },
        ),
        lambda: FitRule.objects.filter(rank_a=1, rank_b=2).update(verdict="refused"),
        lambda: world.a_set("general", "G-99"),
    ]  # fmt: skip
    for act in acts:
        act()
        snapshot = take(site=world.site, at=NOW)
        after = judged(snapshot, before)
        assert after.horizon == judge(snapshot)
        before = after
