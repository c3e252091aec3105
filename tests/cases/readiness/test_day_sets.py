"""The page of a site's sets over one day."""

import re
from datetime import timedelta

import pytest
from django.core.cache import cache
from django.urls import reverse
from django.utils import timezone

from cases.bookings.models import Case, PlanSetNeed, PlanSetOption
from cases.picks.services import pick_list_make
from trays.parties.models import Site

SURE = {"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)}


@pytest.fixture
def tomorrow():
    return timezone.now().date() + timedelta(days=1)


@pytest.fixture
def stocked(world):
    """Units enough and no sets; a set is back after an hour."""
    world.stock_everything(20)
    from trays.stock.models import Unit

    Unit.objects.update(expires=None)
    Site.objects.update(turnaround_minutes=60)
    world.site.refresh_from_db()
    return world


@pytest.fixture
def blocks(stocked):
    """Blocks enough, and no general set."""
    for number in range(1, 9):
        stocked.a_set("blocks-small", f"BS-{number:02d}")
        stocked.a_set("blocks-large", f"BL-{number:02d}")
    return stocked


@pytest.fixture
def furnished(blocks):
    """Sets enough of all but the general one, of which there is one."""
    blocks.a_set("general", "GEN-01")
    return blocks


def page(client, site, day):
    return client.get(reverse("day-sets", args=[site.code, day.isoformat()]))


def words(response) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))


def in_a_row(world, day, *hours, theatre=None):
    return [
        world.a_case(predictions=SURE, day=day, hour=hour, reference=f"C-{hour:02d}", theatre=theatre)
        for hour in hours
    ]


def with_plan(world, cases, *designs):
    """These cases have a plan of their own that wants one set of one of these designs, or none."""
    plan = world.plan
    own = type(plan).objects.create(code="knee-own", procedure=plan.procedure, surgeon=world.cast.surgeon)
    if designs:
        need = PlanSetNeed.objects.create(plan=own, number=1, name="Instruments")
        for number, design in enumerate(designs, start=1):
            PlanSetOption.objects.create(need=need, design=world.designs[design], number=number)
    for case in cases:
        Case.objects.filter(pk=case.pk).update(plan=own)


def without_general(world, *cases):
    with_plan(world, cases)


def test_a_day_with_time_between_says_by_when_each_set_must_leave(furnished, as_person, tomorrow):
    in_a_row(furnished, tomorrow, 8, 12)
    said = words(page(as_person("coordinator"), furnished.site, tomorrow))
    assert "2 cases draw on 3 kinds of set. No case waits for a set." in said
    assert "Knee general set 1 there, 1 needed at least" in said
    # In theatre from 8:00 to 9:40; an hour's way before 12:00.
    assert re.search(
        r"1 08:00 C-08 Total knee Theatre 1, position 1 09:40 11:00 80 minutes to spare 10:40", said
    )
    assert re.search(r"2 12:00 C-12 Total knee Theatre 1, position 2 13:40 any time 14:40", said)
    assert "Femoral blocks, small 2 8 there, 1 needed at least" in said


def test_a_case_that_waits_is_told_until_when_and_for_which_case(furnished, as_person, tomorrow):
    in_a_row(furnished, tomorrow, 8, 10)
    said = words(page(as_person("coordinator"), furnished.site, tomorrow))
    assert "One of them runs out." in said
    assert "Case C-10 (Theatre 1, position 2) at 10:00 waits until 10:40 for: Knee general set." in said
    assert "One set is there; 2 would be enough. The first to come back is the one from case C-08." in said
    assert "No order of this day’s lists lets every case have its sets in time." in said


def test_one_case_that_waits_for_several_kinds_is_told_once(stocked, as_person, tomorrow):
    for design in ("general", "blocks-small", "blocks-large"):
        stocked.a_set(design, f"{design}-01")
    in_a_row(stocked, tomorrow, 8, 10)
    said = words(page(as_person("coordinator"), stocked.site, tomorrow))
    assert "3 of them run out." in said
    assert said.count("Case C-10 (Theatre 1, position 2) at 10:00 waits until 10:40 for:") == 1
    assert "Femoral blocks, large; Femoral blocks, small; Knee general set." in said


def test_no_set_at_all_is_said_so(blocks, as_person, tomorrow):
    blocks.a_set("general", "GEN-01", state="repair")
    in_a_row(blocks, tomorrow, 8)
    said = words(page(as_person("coordinator"), blocks.site, tomorrow))
    assert "Case C-08 (Theatre 1, position 1) at 08:00 has no set: Knee general set." in said
    assert "None of this kind is there on this day." in said
    assert "is in repair" in said


def test_an_order_without_a_conflict_is_offered_and_applied_in_one_act(furnished, as_person, tomorrow):
    first, second, third = in_a_row(furnished, tomorrow, 8, 10, 12)
    without_general(furnished, third)
    client = as_person("coordinator")
    shown = page(client, furnished.site, tomorrow)
    said = words(shown)
    assert (
        "Another order of the list of Theatre 1 lets no case wait. No order that helps changes less." in said
    )
    form = dict(re.findall(r'name="(seen|order|client_key)" value="([^"]+)"', shown.content.decode()))
    assert form["order"] == f"{first.pk} {third.pk} {second.pk}"
    order = reverse("list-order", args=[first.list_id])
    answer = client.post(order, {**form, "move": "all"})
    assert answer.status_code == 303
    assert answer["Location"] == reverse("day-sets", args=[furnished.site.code, tomorrow.isoformat()])
    assert list(Case.objects.order_by("position").values_list("pk", flat=True)) == [
        first.pk,
        third.pk,
        second.pk,
    ]
    after = words(client.get(answer["Location"]))
    assert "The order is changed" in after
    assert "No case waits for a set." in after
    # The list has another order now: the same offer is refused, and nothing is changed.
    again = client.post(order, {**form, "client_key": "", "move": "all"})
    assert again.status_code == 409
    assert "The list has changed since this page was opened." in words(again)


def test_a_broken_order_is_refused(furnished, as_person, tomorrow):
    first, second = in_a_row(furnished, tomorrow, 8, 10)
    client, order = as_person("coordinator"), reverse("list-order", args=[first.list_id])
    seen = f"{first.pk} {second.pk}"
    for wrong in (f"{first.pk}", f"{first.pk} {first.pk}", "x y", ""):
        assert client.post(order, {"seen": seen, "move": "all", "order": wrong}).status_code == 409
    assert list(Case.objects.order_by("position").values_list("pk", flat=True)) == [first.pk, second.pk]


def test_only_those_who_may_order_a_list_get_the_button(furnished, as_person, tomorrow):
    *_, third = in_a_row(furnished, tomorrow, 8, 10, 12)
    without_general(furnished, third)
    shown = page(as_person("circulating"), furnished.site, tomorrow)
    assert "lets no case wait" in words(shown)
    assert 'value="all"' not in shown.content.decode()


def test_what_has_begun_keeps_its_place(furnished, as_person, tomorrow):
    *_, third = in_a_row(furnished, tomorrow, 8, 10, 12)
    without_general(furnished, third)
    Case.objects.filter(pk=third.pk).update(status="opened")
    said = words(page(as_person("coordinator"), furnished.site, tomorrow))
    assert "No order of this day’s lists lets every case have its sets in time." in said
    assert "2 cases may move" in said


def test_two_theatres_share_the_sets_and_may_both_change(furnished, as_person, tomorrow):
    a, b = in_a_row(furnished, tomorrow, 8, 11)
    c, d = in_a_row(furnished, tomorrow, 9, 12, theatre=furnished.second_theatre)
    without_general(furnished, b, d)
    said = words(page(as_person("coordinator"), furnished.site, tomorrow))
    assert "Case C-09 (Theatre 2, position 1) at 09:00 waits until 10:40 for: Knee general set." in said
    assert "Another order of the list of Theatre" in said
    assert said.count("in this order") == 1


def test_where_cases_may_choose_the_choice_leaves_none_without(stocked, as_person, tomorrow):
    stocked.a_set("general", "GEN-01")
    stocked.a_set("blocks-large", "BL-01")
    stocked.designs["blocks-large"].serves.all().delete()
    # The first may have either; the second, while it is away, the general one alone.
    (first,) = in_a_row(stocked, tomorrow, 8)
    with_plan(stocked, [first], "general", "blocks-large")
    stocked.plan.set_needs.exclude(number=1).delete()
    (second,) = in_a_row(stocked, tomorrow, 9, theatre=stocked.second_theatre)
    client = as_person("coordinator")
    said = words(page(client, stocked.site, tomorrow))
    assert "No case waits for a set." in said
    assert "Knee general set / Femoral blocks, large" in said
    assert re.search(r"1 08:00 C-08 Total knee BL-01 .* 2 09:00 C-09 Total knee GEN-01", said)
    # A third that may have either finds none: both are away.
    (third,) = in_a_row(stocked, tomorrow, 10, theatre=stocked.second_theatre)
    Case.objects.filter(pk=third.pk).update(plan=Case.objects.get(pk=first.pk).plan)
    said = words(page(client, stocked.site, tomorrow))
    assert "Case C-10 (Theatre 2, position 2) at 10:00 waits until 10:40 for: Knee general set / " in said
    assert "2 sets are there. The first to come back is the one from case C-08." in said
    # In its place it could have the one kind while the other comes back in time for the other case.
    assert "Another order of the list of Theatre 2 lets no case wait." in said


def test_a_held_set_says_what_the_case_takes(furnished, as_person, tomorrow):
    case = furnished.a_case(predictions={"femoral": (1, 2), "tibial": (1, 2)}, day=tomorrow, reference="WIDE")
    client = as_person("coordinator")
    before = words(page(client, furnished.site, tomorrow))
    assert "Femoral blocks, small" in before and "Femoral blocks, large" in before
    made = pick_list_make(by=furnished.cast.coordinator, case=case, at=timezone.now())
    held = set(
        made.lines.filter(pack__isnull=False).values_list("pack__set__version__design__name", flat=True)
    )
    after = words(page(client, furnished.site, tomorrow))
    for name in ("Femoral blocks, small", "Femoral blocks, large", "Knee general set"):
        assert (name in after) == (name in held)


def test_sets_of_the_evening_before_are_back_as_late_as_they_are(furnished, as_person, tomorrow):
    Site.objects.update(turnaround_minutes=720)
    furnished.a_case(predictions=SURE, day=tomorrow, hour=20, reference="LATE")
    in_a_row(furnished, tomorrow + timedelta(days=1), 8)
    said = words(page(as_person("coordinator"), furnished.site, tomorrow + timedelta(days=1)))
    assert "Case C-08 (Theatre 1, position 1) at 08:00 waits until 09:40 for: Knee general set." in said
    assert "One set is there, one of them not before then." in said


def test_a_case_whose_data_cannot_be_read_is_named(furnished, as_person, tomorrow):
    (case,) = in_a_row(furnished, tomorrow, 8)
    furnished.component("tibial", "1").family.components.all().update(side="left")
    said = words(page(as_person("coordinator"), furnished.site, tomorrow))
    assert "Not looked at" in said and case.reference in said


def test_days_that_are_not_there_and_other_peoples_sites_are_answered_alike(furnished, as_person, tomorrow):
    client = as_person("coordinator")
    in_a_row(furnished, tomorrow, 8)
    for site, day in (
        ("larkmere", "2020-01-01"), ("larkmere", "2999-01-01"), ("larkmere", "someday"),
        ("larkmere", "2026-02-30"), ("fennside", tomorrow.isoformat()), ("nowhere", tomorrow.isoformat()),
    ):  # fmt: skip
        assert client.get(reverse("day-sets", args=[site, day])).status_code == 404
    assert page(as_person("far_coordinator"), furnished.site, tomorrow).status_code == 404
    assert page(as_person("supplier"), furnished.site, tomorrow).status_code == 403


def test_an_empty_day_says_what_to_do(furnished, as_person, tomorrow):
    assert "No booked case of this day wants a set." in words(
        page(as_person("coordinator"), furnished.site, tomorrow)
    )


def test_the_fortnight_and_the_case_lead_to_the_day(furnished, as_person, tomorrow):
    (case,) = in_a_row(furnished, tomorrow, 8)
    url = reverse("day-sets", args=[furnished.site.code, tomorrow.isoformat()])
    client = as_person("coordinator")
    assert url in client.get(reverse("fortnight")).content.decode()
    assert url in client.get(reverse("case", args=[case.pk])).content.decode()


def test_the_page_takes_a_fixed_number_of_queries(
    furnished, as_person, tomorrow, django_assert_max_num_queries
):
    in_a_row(furnished, tomorrow, 8, 10)
    client = as_person("coordinator")
    for more in range(2):
        cache.clear()
        with django_assert_max_num_queries(36):
            assert page(client, furnished.site, tomorrow).status_code == 200
        if not more:
            for day in range(1, 6):
                furnished.a_case(predictions=SURE, day=tomorrow + timedelta(days=day))
            in_a_row(furnished, tomorrow, 13, 15, 17, theatre=furnished.second_theatre)
