"""Error tables in force, what outcomes teach, and what was used lately."""

from datetime import timedelta

import pytest

from cases.forecasts.models import ErrorTable, ErrorTableRow, Outcome
from cases.forecasts.published import published
from cases.forecasts.queries import error_laws, use_rates, used_lately
from cases.forecasts.sizes import size_law
from cases.planning import sizing
from tests.world import TODAY

XRAY = "xray_template"


def a_table(slot: str, weights: dict[int, float], *, days: int = -10, source: str = "Our own") -> None:
    table = ErrorTable.objects.create(
        slot=slot, method=XRAY, source=source, valid_from=TODAY + timedelta(days=days)
    )
    for offset, weight in weights.items():
        ErrorTableRow.objects.create(table=table, offset=offset, weight=weight)


def an_outcome(world, n: int, component, *, predicted=None, days: int = -5, slot: str = "femoral") -> None:
    Outcome.objects.create(
        site=world.site, reference=f"H{n}", slot=slot, component=component,
        used_on=TODAY + timedelta(days=days), predicted_rank=predicted,
        method=XRAY if predicted is not None else "",
    )  # fmt: skip


def laws(world):
    return error_laws(site=world.site, on=TODAY)


def test_without_a_table_of_the_hospital_the_published_one_counts(world):
    law = laws(world).of("tibial", XRAY)
    assert law.offsets == pytest.approx(sizing.load_table(sizing.PRIORS["knee tibia 2D"].offsets))
    assert law.source == sizing.PRIORS["knee tibia 2D"].source


def test_for_want_of_any_table_the_widest_stands_in_and_says_so():
    offsets, source = published("glenoid", "surgeon_estimate")
    assert offsets == sizing.PRIORS["knee femur 2D"].offsets
    assert "for want of a table" in source


def test_the_newest_table_in_force_on_the_day_counts(world):
    a_table("femoral", {0: 1}, days=-20, source="Old")
    a_table("femoral", {-1: 1, 0: 2, 1: 1}, days=0, source="New")
    a_table("femoral", {3: 1}, days=1, source="Tomorrow's")
    law = laws(world).of("femoral", XRAY)
    assert law.source == "New"
    assert law.offsets == pytest.approx(sizing.load_table((0, 0, 1, 2, 1, 0, 0)))


def test_outcomes_draw_the_law_towards_what_happened(world):
    a_table("femoral", {0: 1})
    before = laws(world).of("femoral", XRAY).offsets
    for n in range(20):
        an_outcome(world, n, world.component("femoral", "3", side="right"), predicted=1)
    law = laws(world).of("femoral", XRAY)
    assert law.outcomes == 20
    # Twenty outcomes fade at .98 each and stand beside a table worth ten.
    seen = sum(0.98**k for k in range(20))
    assert law.offsets[4] == pytest.approx((10 * before[4] + seen) / (10 + seen))


def test_outcomes_of_another_site_or_of_tomorrow_teach_nothing(world):
    an_outcome(world, 1, world.component("femoral", "3", side="right"), predicted=1, days=1)
    Outcome.objects.create(
        site=world.far_site, reference="H9", slot="femoral", method=XRAY, predicted_rank=1,
        component=world.component("femoral", "3", side="right"), used_on=TODAY,
    )  # fmt: skip
    assert laws(world).of("femoral", XRAY).outcomes == 0


def test_reading_takes_a_fixed_number_of_queries(world, django_assert_num_queries):
    a_table("femoral", {0: 1})
    for n in range(30):
        an_outcome(world, n, world.component("femoral", "3", side="right"), predicted=1)
    with django_assert_num_queries(3):
        found = laws(world)
        found.of("femoral", XRAY)
        found.of("tibial", XRAY)
    with django_assert_num_queries(1):
        used_lately(site=world.site, slots={"femoral", "tibial"}, on=TODAY)
    with django_assert_num_queries(1):
        use_rates(site=world.site, since=TODAY - timedelta(days=90))


def test_use_is_counted_by_component_between_two_days(world):
    three, two = world.component("femoral", "3", side="right"), world.component("femoral", "2", side="left")
    for n, days in enumerate((-100, -90, -1, 0)):
        an_outcome(world, n, three, days=days)
    an_outcome(world, 9, two, days=-3)
    assert use_rates(site=world.site, since=TODAY - timedelta(days=90), until=TODAY) == {
        three.pk: 2,
        two.pk: 1,
    }
    assert use_rates(site=world.site, since=TODAY)[three.pk] == 1


def size_law_of(world, slot: str, **given):
    components = list(world.families[slot].components.filter(side__in=("right", "none")))
    values = dict(
        slot=slot, second_measure=world.families[slot].second_measure, prediction=None, predicted=True,
        linked=False, errors=laws(world), used={},
    )  # fmt: skip
    return components, *size_law(components, **{**values, **given})


def test_without_a_prediction_the_sizes_used_lately_count_else_each_alike(world):
    components, weights, basis = size_law_of(world, "femoral")
    assert weights == pytest.approx([0.25] * 4)
    assert basis.sizes == "none"
    used = {world.component("femoral", "3", side="right").pk: 10}
    _, weights, basis = size_law_of(world, "femoral", used=used)
    assert weights == pytest.approx([0.125, 0.125, 0.625, 0.125])
    assert (basis.sizes, basis.outcomes) == ("history", 10)


def test_an_insert_follows_its_links_in_size_and_a_marked_shape_in_thickness(world):
    components, weights, basis = size_law_of(world, "insert", predicted=False, linked=True)
    assert sum(weights) == pytest.approx(1)
    thin = sum(w for c, w in zip(components, weights, strict=True) if c.second == "8")
    assert thin == pytest.approx(0.47 / 0.77)
    assert (basis.sizes, basis.seconds) == ("linked", "assumed")
    used = {world.component("insert", "2", second="10").pk: 30}
    _, _, basis = size_law_of(world, "insert", predicted=False, linked=True, used=used)
    assert basis.seconds == "history"
