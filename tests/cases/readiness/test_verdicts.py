"""What a coordinator reads: words, figures and reasons, and what changes them."""

from datetime import timedelta

import pytest

from cases.bookings.kinds import PredictedSize
from cases.bookings.models import CaseSlot, PlanFamily, Prediction
from cases.bookings.services import prediction_add
from cases.readiness.assess import horizon, judge
from cases.readiness.figures import figures
from cases.readiness.kinds import Level, Word
from cases.readiness.room import level_of
from cases.readiness.snapshot import take
from cases.reservations.models import Hold, SetHold
from tests.world import NOW, TODAY
from trays.catalogue.models import Component, Family, FitRule
from trays.instruments.models import Pack
from trays.parties.models import Tenure

SURE = {"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)}


def verdict_of(world, case):
    return judge(take(site=world.site, at=NOW)).verdicts[case.pk]


def hold(unit, case, world) -> Hold:
    return Hold.objects.create(unit=unit, case=case, placed_at=NOW, placed_by=world.cast.coordinator)


def answer(**chances):
    from cases.planning.kinds import CaseAnswer

    values = {
        "p_short_low": 0.0, "p_short_high": 0.0, "p_cover_low": 1.0, "p_cover_high": 1.0, "p_unknown": 0.0,
        "exact": True,
    }  # fmt: skip
    return CaseAnswer(
        ref=1, impossible=False, missing=(), unserved=(), competitors=(), one_more=(), **{**values, **chances}
    )


@pytest.mark.parametrize(
    ("short", "word"),
    [(0.01, Word.COVERED), (0.011, Word.THIN), (0.04, Word.THIN), (0.041, Word.SHORT), (1.0, Word.SHORT)],
)
def test_the_word_follows_from_the_number_and_the_target(short, word):
    given = answer(p_short_low=short, p_short_high=short, p_cover_low=1 - short)
    assert level_of(given, wanted=0.99, margin=0.03).word is word


def test_outcomes_without_a_rule_make_it_not_known_only_where_they_could_change_the_word():
    changes = answer(p_short_low=0.0, p_short_high=0.02, p_cover_low=0.98, p_unknown=0.02)
    assert level_of(changes, wanted=0.99, margin=0.03).word is Word.UNKNOWN
    too_few = answer(p_short_low=0.0, p_short_high=0.004, p_cover_low=0.996, p_unknown=0.004)
    assert level_of(too_few, wanted=0.99, margin=0.03).word is Word.COVERED
    short_anyway = answer(p_short_low=0.2, p_short_high=0.3, p_cover_low=0.7, p_unknown=0.1)
    assert level_of(short_anyway, wanted=0.99, margin=0.03).word is Word.SHORT


def test_a_bound_is_said_of_being_short_and_never_of_being_covered():
    bound = level_of(answer(exact=False, p_short_low=0.085, p_short_high=0.085), wanted=0.99, margin=0.03)
    assert figures(bound) == "at most 9 in 100 short; wanted 1"
    assert figures(Level(Word.SHORT, 0.918, False, 0.99, 0.0)) == "91 in 100; wanted 99"


def test_a_new_prediction_changes_the_verdict(world):
    world.stock_everything(3)
    world.sets_of_each(2)
    for component in Component.objects.filter(family=world.families["femoral"], size_rank=3):
        component.units.all().delete()
    case = world.a_case(predictions={"femoral": (0, 0), "tibial": (0, 0)})
    before = horizon(site=world.site, at=NOW).verdicts[case.pk]
    slots = CaseSlot.objects.filter(construct__case=case)
    new = PredictedSize(low_rank=3, high_rank=3, method=Prediction.Method.XRAY)
    prediction_add(
        by=world.cast.coordinator,
        case=case,
        predictions={slot.pk: new for slot in slots if slot.plan_slot.code in ("femoral", "tibial")},
        at=NOW,
    )
    after = horizon(site=world.site, at=NOW).verdicts[case.pk]
    assert before.on_site.word is Word.COVERED
    assert after.on_site.word is Word.SHORT
    assert "Femoral 4 RIGHT: none on site" in after.reasons[0]
    assert before.sizes_line != after.sizes_line


def test_a_unit_held_for_another_case_is_named_with_its_case(world):
    world.stock_everything(1)
    world.sets_of_each(3)
    case = world.a_case(predictions=SURE, hour=8)
    other = world.a_case(predictions=SURE, hour=12, reference="R-OTHER")
    hold(world.component("femoral", "2", side="right").units.get(), other, world)
    verdict = verdict_of(world, case)
    assert verdict.on_site.word is Word.SHORT
    assert any("Femoral 2 RIGHT: 1 on site, 1 held for case R-OTHER" in said for said in verdict.reasons)


def test_the_case_ahead_on_the_list_is_named_with_its_chance(world):
    world.stock_everything(1)
    world.sets_of_each(3)
    ahead = world.a_case(predictions=SURE, hour=8, reference="R-AHEAD")
    case = world.a_case(predictions=SURE, hour=12)
    verdict = verdict_of(world, case)
    assert ahead.pk in verdict.competitors
    chance = dict(verdict.slots[1].chances)[world.component("tibial", "2").pk]
    words = f"Tibial 2: 1 on site, which case R-AHEAD takes first in {round(chance * 100)} of 100"
    assert any(said.startswith(words) for said in verdict.reasons)


def test_the_one_more_unit_that_helps_most_is_computed(world):
    world.stock_everything(3)
    world.sets_of_each(2)
    world.component("femoral", "2", side="right").units.all().delete()
    case = world.a_case(predictions=SURE)
    before = verdict_of(world, case)
    assert before.one_more is not None
    assert before.one_more.component_id == world.component("femoral", "2", side="right").pk
    world.unit(world.component("femoral", "2", side="right"))
    after = verdict_of(world, case)
    assert after.on_site.chance == pytest.approx(before.one_more.level.chance, abs=1e-9)
    assert before.one_more.sentence.startswith("With one more Femoral 2 RIGHT: ")


def test_a_unit_is_usable_on_its_expiry_day_by_the_sites_clock(world):
    world.stock_everything(3)
    world.sets_of_each(2)
    femoral = world.component("femoral", "2", side="right")
    femoral.units.update(expires=TODAY)
    today = world.a_case(predictions=SURE)
    assert verdict_of(world, today).on_site.word is Word.COVERED
    femoral.units.update(expires=TODAY - timedelta(days=1))
    verdict = verdict_of(world, today)
    assert verdict.on_site.word is Word.SHORT
    assert any("expires by Sun 6 Dec, before the operation" in said for said in verdict.reasons)


def test_a_pair_without_a_rule_is_named(world):
    world.stock_everything(3)
    world.sets_of_each(2)
    FitRule.objects.filter(
        family_a=world.families["femoral"], rank_a=1, family_b=world.families["tibial"], rank_b=2
    ).delete()
    case = world.a_case(predictions=SURE)
    verdict = verdict_of(world, case)
    assert verdict.on_site.word is Word.UNKNOWN
    assert any("have no fit rule on file: Femoral 2 RIGHT with Tibial 3" in said for said in verdict.reasons)


def test_a_newer_rule_counts_from_its_day_on_and_in_either_order(world):
    world.stock_everything(3)
    world.sets_of_each(3)
    femoral, tibial = world.families["femoral"], world.families["tibial"]
    FitRule.objects.filter(family_a=femoral, rank_a=1, family_b=tibial, rank_b=2).delete()
    FitRule.objects.create(
        family_a=tibial, rank_a=2, family_b=femoral, rank_b=1, verdict="caution", source="Chart A, 2",
        valid_from=TODAY + timedelta(days=1),
    )  # fmt: skip
    today = world.a_case(predictions=SURE)
    tomorrow = world.a_case(predictions=SURE, day=TODAY + timedelta(days=1))
    found = judge(take(site=world.site, at=NOW)).verdicts
    assert found[today.pk].on_site.unknown > 0.1
    assert found[tomorrow.pk].on_site.unknown == pytest.approx(0.0, abs=1e-12)


def test_sizes_that_fit_nothing_are_a_fault_of_the_data_and_stop_no_other_case(world):
    world.stock_everything(3)
    world.sets_of_each(2)
    good = world.a_case(predictions=SURE, hour=8)
    FitRule.objects.update(verdict="refused")
    verdict = verdict_of(world, good)
    assert verdict.on_site.word is Word.SHORT
    assert "No combination of these sizes meets the fit rules" in verdict.fault


def test_a_case_without_slots_is_not_judged_but_shown(world):
    empty = world.a_case(predictions=SURE)
    CaseSlot.objects.filter(construct__case=empty).delete()
    assert verdict_of(world, empty).on_site.word is Word.UNKNOWN


def test_a_slot_nobody_predicted_says_what_its_chances_rest_on(world):
    world.stock_everything(3)
    world.sets_of_each(2)
    case = world.a_case(predictions={"tibial": (1, 1)})
    said = verdict_of(world, case).reasons
    assert (
        "Femoral RIGHT: no size is predicted and none was used here lately; each size counts alike." in said
    )


def test_a_set_that_lacks_a_critical_line_or_whose_sterility_ends_does_not_count(world):
    world.stock_everything(3)
    world.a_set("blocks-small", "S-01")
    world.a_set("blocks-large", "L-01")
    lacking = world.a_set("general", "G-01", short=(1,))
    case = world.a_case(predictions=SURE)
    assert any("G-01 lacks a critical line" in said for said in verdict_of(world, case).reasons)
    lacking.packs.update(sterile_until=TODAY - timedelta(days=1))
    other = world.a_set("general", "G-02", sterile_until=TODAY)
    assert verdict_of(world, case).on_site.word is Word.COVERED
    other.packs.update(sterile_until=TODAY - timedelta(days=1))
    assert any("G-02 is sterile until Sun 6 Dec only" in said for said in verdict_of(world, case).reasons)


def test_a_shortage_that_is_not_critical_does_not_stop_a_set(world):
    world.stock_everything(3)
    world.a_set("blocks-small", "S-01")
    world.a_set("blocks-large", "L-01")
    world.a_set("general", "G-01", short=(2,))
    assert verdict_of(world, world.a_case(predictions=SURE)).on_site.word is Word.COVERED


def test_a_set_being_processed_comes_back_for_a_later_case_only(world):
    world.stock_everything(4)
    world.sets_of_each(1)
    world.take_to(Pack.objects.filter(set__version__design__code="general"), Pack.State.USED)
    morning = world.a_case(predictions=SURE, hour=8)
    evening = world.a_case(predictions=SURE, day=TODAY + timedelta(days=1))
    found = judge(take(site=world.site, at=NOW)).verdicts
    assert found[morning.pk].on_site.word is Word.SHORT
    assert any(
        "is being processed, back about Mon 7 Dec, 13:00" in said for said in found[morning.pk].reasons
    )
    assert found[evening.pk].on_site.word is Word.COVERED


def test_a_set_wanted_twice_in_a_morning_is_missing_for_the_second_case(world):
    world.stock_everything(4)
    world.sets_of_each(1)
    first = world.a_case(predictions=SURE, hour=8, reference="R-FIRST")
    second = world.a_case(predictions=SURE, hour=11)
    found = judge(take(site=world.site, at=NOW)).verdicts
    assert found[first.pk].on_site.word is Word.COVERED
    assert found[second.pk].on_site.word is Word.SHORT
    assert any(
        "case R-FIRST may have it first, back from Mon 7 Dec, 15:40" in s for s in found[second.pk].reasons
    )


def test_in_the_room_counts_what_is_held_for_the_case_and_its_set_holds(world):
    world.stock_everything(3)
    world.sets_of_each(2)
    case = world.a_case(predictions=SURE)
    for slot, sides in (("femoral", "right"), ("tibial", "none"), ("patellar", "none")):
        hold(world.component(slot, "2", side=sides).units.first(), case, world)
    for thickness in ("8", "10"):
        hold(world.component("insert", "2", second=thickness).units.first(), case, world)
    bare = verdict_of(world, case)
    assert bare.picked
    assert bare.in_room.chance == 0.0
    assert any("Knee general set is not among what is picked" in said for said in bare.room_reasons)
    for design in ("general", "blocks-small"):
        SetHold.objects.create(
            set=world.designs[design].versions.get().sets.first(), case=case, starts_at=case.starts_at,
            ends_at=case.starts_at + timedelta(hours=8), placed_at=NOW, placed_by=world.cast.coordinator,
        )  # fmt: skip
    held = verdict_of(world, case)
    assert 0.0 < held.in_room.chance < held.on_site.chance
    assert held.in_room.word is Word.SHORT


def test_a_unit_held_ahead_is_not_a_pick(world):
    world.stock_everything(3)
    world.sets_of_each(2)
    case = world.a_case(predictions=SURE)
    hold(world.component("femoral", "2", side="right").units.first(), case, world)
    verdict = verdict_of(world, case)
    assert not verdict.picked
    assert verdict.room_reasons[0].startswith("Nothing is picked yet.")


def test_a_picked_unit_that_is_kept_for_the_list_counts_in_the_room(world):
    world.stock_everything(3)
    world.sets_of_each(2)
    case = world.a_case(predictions=SURE)
    for slot, side in (("tibial", "none"), ("patellar", "none")):
        hold(world.component(slot, "2", side=side).units.first(), case, world)
    for row in world.components:
        if row[0] == "insert":
            hold(world.components[row].units.first(), case, world)
    for_list = hold(world.component("femoral", "2", side="right").units.first(), case, world)
    for design in ("general", "blocks-small"):
        SetHold.objects.create(
            set=world.designs[design].versions.get().sets.first(), case=case, starts_at=case.starts_at,
            ends_at=case.starts_at + timedelta(hours=8), placed_at=NOW, placed_by=world.cast.coordinator,
        )  # fmt: skip
    own = verdict_of(world, case)
    Hold.objects.filter(pk=for_list.pk).update(case=None, list=case.list)
    kept = verdict_of(world, case)
    assert kept.picked
    assert kept.in_room.chance == own.in_room.chance > 0.0
    assert kept.sizes_line == own.sizes_line
    Hold.objects.filter(pk=for_list.pk).update(list=world.a_case(day=TODAY + timedelta(days=3)).list)
    assert not verdict_of(world, case).picked


def test_what_is_held_for_the_list_alone_is_not_a_pick(world):
    world.stock_everything(3)
    world.sets_of_each(2)
    case = world.a_case(predictions=SURE)
    for slot, size, side, second in (
        ("femoral", "2", "right", ""),
        ("tibial", "2", "none", ""),
        ("patellar", "2", "none", ""),
        ("insert", "2", "none", "8"),
    ):
        hold(world.component(slot, size, side=side, second=second).units.first(), case, world)
    assert verdict_of(world, case).picked
    Hold.objects.update(case=None, list=case.list)
    assert not verdict_of(world, case).picked


def test_both_sides_draw_on_the_same_shelf_for_what_has_no_side(world):
    world.stock_everything(2)
    world.sets_of_each(2)
    slot = world.slots["patellar"]
    slot.use = 0.0
    slot.save()
    both = world.a_case(predictions=SURE, sides=("left", "right"))
    plenty = verdict_of(world, both).on_site.chance
    for tibial in Component.objects.filter(family=world.families["tibial"]):
        tibial.units.last().delete()
    scarce = verdict_of(world, both)
    assert plenty == pytest.approx(1.0)
    # One of each tibial size: short whenever both knees take the same size.
    takes = [chance for slot in scarce.slots if slot.label == "Tibial" and slot.side == "left"
             for _, chance in slot.chances]  # fmt: skip
    assert scarce.on_site.chance == pytest.approx(1 - sum(p * p for p in takes), abs=1e-9)


def test_the_chance_of_a_contingency_family_stays_what_the_plan_states(world):
    spare = {}
    for code in ("femoral", "insert"):
        own = world.families[code]
        spare[code] = Family.objects.create(
            code=f"{code}-b", name=f"{code} B", slot=code, sided=own.sided, second_measure=own.second_measure
        )
        for row in own.components.all():
            row.pk, row.family, row.code = None, spare[code], f"b-{row.code}"
            row.save()
        PlanFamily.objects.create(
            slot=world.slots[code], family=spare[code], number=2, contingency=True, chance=0.05
        )
    rules = []
    for a, b, same in (
        (spare["femoral"], spare["insert"], True),
        (spare["femoral"], world.families["insert"], False),
        (world.families["femoral"], spare["insert"], False),
        (spare["femoral"], world.families["tibial"], None),
    ):
        for i in range(4):
            for j in range(4):
                fits = abs(i - j) <= 1 if same is None else same and i == j
                rules.append(
                    FitRule(family_a=a, rank_a=i, family_b=b, rank_b=j, source="Chart B",
                            verdict="allowed" if fits else "refused", valid_from=TODAY)
                )  # fmt: skip
    FitRule.objects.bulk_create(rules)
    case = world.a_case(predictions=SURE)
    verdict = verdict_of(world, case)
    for slot in verdict.slots[:3:2]:
        rows = dict(slot.chances)
        family = spare[slot.label.lower()]
        share = sum(p for pk, p in rows.items() if Component.objects.get(pk=pk).family_id == family.pk)
        assert share == pytest.approx(0.05, abs=1e-6)


def test_demand_by_component_adds_up_to_the_use_of_each_slot(world):
    world.stock_everything(2)
    world.sets_of_each(2)
    slot = world.slots["insert"]
    slot.waste = 0.1
    slot.save()
    case = world.a_case(predictions=SURE, sides=("left", "right"))
    demand = judge(take(site=world.site, at=NOW)).demand
    inserts = {c.pk for c in Component.objects.filter(family=world.families["insert"])}
    rows = [row for pk, found in demand.items() if pk in inserts for row in found]
    assert all(row.case_id == case.pk and row.day == TODAY for row in rows)
    # Two inserts, each with a second one in a tenth: 2.2 units on average, at most four of one component.
    assert 2.0 < sum(row.p_one + 2 * row.p_two for row in rows) <= 2.2
    patellar = {c.pk for c in Component.objects.filter(family=world.families["patellar"])}
    expected = sum(r.p_one + 2 * r.p_two for pk, found in demand.items() if pk in patellar for r in found)
    assert expected == pytest.approx(0.6, abs=1e-9)


def test_an_act_on_the_record_makes_the_horizon_anew_and_nothing_else_does(
    world, django_assert_num_queries, django_assert_max_num_queries
):
    from django.db import transaction

    from trays.ledger.append import record

    world.stock_everything(2)
    world.sets_of_each(2)
    world.a_case(predictions=SURE)
    first = horizon(site=world.site, at=NOW)
    with django_assert_num_queries(1):
        assert horizon(site=world.site, at=NOW) == first
    with transaction.atomic():
        record(chain=world.site.code, verb="unit.move", by=world.cast.stores, at=NOW)
    with django_assert_max_num_queries(40) as queries:
        horizon(site=world.site, at=NOW)
    assert len(queries) > 10


def test_tenure_does_not_matter_to_what_is_there(world):
    world.stock_everything(3)
    world.sets_of_each(2)
    case = world.a_case(predictions=SURE)
    owned = verdict_of(world, case).on_site.chance
    world.component("femoral", "2", side="right").units.update(tenure=Tenure.CONSIGNED)
    assert verdict_of(world, case).on_site.chance == owned
