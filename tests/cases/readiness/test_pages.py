"""The fortnight and a case, as people see them."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from cases.bookings.kinds import PredictedSize
from cases.bookings.models import Case, CaseSlot, Prediction
from cases.bookings.services import prediction_add
from tests.world import NOW
from trays.parties.models import Site
from trays.staff.models import Role

SURE = {"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)}


def tomorrow():
    return timezone.now().date() + timedelta(days=1)


@pytest.fixture
def stocked(world):
    world.stock_everything(4)
    world.sets_of_each(3)
    # Dates in the world are fixed; pages ask the clock.
    from trays.stock.models import Unit

    Unit.objects.update(expires=None)
    return world


def words(response) -> str:
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", text)


def test_the_fortnight_shows_each_case_with_its_verdict_and_counts_by_the_worse(stocked, as_person):
    fine = stocked.a_case(predictions=SURE, day=tomorrow(), hour=8, reference="FINE-1")
    stocked.component("femoral", "4", side="left").units.all().delete()
    short = stocked.a_case(
        predictions={"femoral": (3, 3), "tibial": (3, 3)}, sides=("left",), day=tomorrow(), hour=14,
        reference="SHORT-2", theatre=stocked.second_theatre,
    )  # fmt: skip
    response = as_person("coordinator").get(reverse("fortnight"))
    said = words(response)
    assert response.status_code == 200
    assert "2 cases to come. 1 covered, 0 thin, 1 short, 0 not known." in said
    assert "1 short" in said
    assert fine.reference in said and short.reference in said
    assert "Femoral 4 LEFT: none on site; missing in" in said
    assert "Get one more Femoral 4 LEFT" in said
    assert "Femoral 1–" in said


def test_only_what_needs_an_act_or_is_mine_can_be_shown(stocked, as_person):
    stocked.a_case(predictions=SURE, day=tomorrow(), hour=8, reference="FINE-1")
    stocked.component("femoral", "4", side="left").units.all().delete()
    stocked.a_case(
        predictions={"femoral": (3, 3), "tibial": (3, 3)}, sides=("left",), day=tomorrow(), hour=14,
        reference="SHORT-2", theatre=stocked.second_theatre,
    )  # fmt: skip
    Case.objects.filter(reference="FINE-1").update(booked_by=stocked.cast.stores, surgeon=None)
    client = as_person("coordinator")
    needing = words(client.get(reverse("fortnight"), {"show": "needs"}))
    assert "SHORT-2" in needing and "FINE-1" not in needing
    mine = words(client.get(reverse("fortnight"), {"show": "mine"}))
    assert "SHORT-2" in mine and "FINE-1" not in mine
    assert client.get(reverse("fortnight"), {"show": "nonsense", "site": "%%"}).status_code == 200


def test_the_fortnight_can_be_had_as_a_file(stocked, as_person):
    stocked.a_case(predictions=SURE, day=tomorrow(), reference="FINE-1")
    response = as_person("coordinator").get(reverse("fortnight"), {"as": "csv"})
    assert response["Content-Type"].startswith("text/csv")
    assert "FINE-1" in response.content.decode("utf-8-sig")


def test_an_empty_fortnight_says_what_to_do(world, as_person):
    assert "No lists yet." in words(as_person("coordinator").get(reverse("fortnight")))


def test_people_see_the_cases_of_their_own_sites_only(stocked, as_person):
    case = stocked.a_case(predictions=SURE, day=tomorrow(), reference="FINE-1")
    far = as_person("far_coordinator")
    assert "FINE-1" not in words(far.get(reverse("fortnight")))
    assert far.get(reverse("case", args=[case.pk])).status_code == 404
    assert as_person("stranger").get(reverse("case", args=[case.pk])).status_code == 404
    assert as_person("supplier").get(reverse("case", args=[case.pk])).status_code == 404


def test_a_cases_page_says_the_side_in_words_and_both_verdicts(stocked, as_person):
    case = stocked.a_case(predictions=SURE, day=tomorrow(), reference="FINE-1")
    response = as_person("coordinator").get(reverse("case", args=[case.pk]))
    said, html = words(response), response.content.decode()
    assert '<b class="side">right</b>' in html
    assert re.search(r"On site Covered (over 99|100) in 100; wanted 99", said)
    assert "In the room Covered" in said
    assert "Nothing is picked yet. This is what today’s shelf would give." in said
    assert html.count('<svg class="pic" viewBox="0 0 ') >= 4
    assert "The choice of implant is the surgeon’s" in said
    assert "style=" not in html and "onclick" not in html
    assert reverse("case-predict", args=[case.pk]) in html


def test_acts_are_offered_to_those_who_may_do_them(stocked, as_person):
    case = stocked.a_case(predictions=SURE, day=tomorrow())
    url = reverse("case", args=[case.pk])
    assert "Make the pick list" in words(as_person("coordinator").get(url))
    quality = words(as_person("quality").get(url))
    assert "Make the pick list" not in quality and "Change the case" not in quality


def test_a_list_of_several_cases_leads_to_its_order_for_those_who_may_change_it(stocked, as_person):
    case = stocked.a_case(predictions=SURE, day=tomorrow(), hour=8)
    order = reverse("list-order", args=[case.list_id])
    coordinator = as_person("coordinator")
    assert order in coordinator.get(reverse("case", args=[case.pk])).content.decode()
    assert order not in coordinator.get(reverse("fortnight")).content.decode()
    stocked.a_case(predictions=SURE, day=tomorrow(), hour=12)
    assert order in coordinator.get(reverse("fortnight")).content.decode()
    for page in (reverse("fortnight"), reverse("case", args=[case.pk])):
        assert order not in as_person("circulating").get(page).content.decode()


def test_a_theatre_named_after_its_site_says_it_once(stocked, as_person):
    Site.objects.filter(pk=stocked.far_site.pk).update(name="Fennside")
    stocked.theatre.name = f"{stocked.site.name} theatre"
    stocked.theatre.save()
    stocked.a_case(predictions=SURE, day=tomorrow(), hour=8)
    Role.objects.create(person=stocked.cast.coordinator, kind="coordinator", site=stocked.far_site)
    said = words(as_person("coordinator").get(reverse("fortnight")))
    assert f"{stocked.site.name} theatre" in said
    assert f"{stocked.site.name} theatre, {stocked.site.name}" not in said


def test_each_side_of_a_case_for_both_is_shown(stocked, as_person):
    case = stocked.a_case(predictions=SURE, sides=("left", "right"), day=tomorrow())
    html = as_person("coordinator").get(reverse("case", args=[case.pk])).content.decode()
    assert "Femoral, left: likelihood and stock by size" in html
    assert "Femoral, right: likelihood and stock by size" in html


def test_a_new_prediction_redraws_the_picture_and_the_verdict(stocked, as_person):
    stocked.component("femoral", "4", side="right").units.all().delete()
    case = stocked.a_case(predictions=SURE, day=tomorrow())
    client, url = as_person("coordinator"), reverse("case", args=[case.pk])
    before = client.get(url).content.decode()
    assert "Likeliest: 2 with" in before
    slots = CaseSlot.objects.filter(construct__case=case, plan_slot__code__in=("femoral", "tibial"))
    new = PredictedSize(low_rank=3, high_rank=3, method=Prediction.Method.XRAY)
    prediction_add(
        by=stocked.cast.coordinator,
        case=case,
        predictions={slot.pk: new for slot in slots},
        at=max(NOW, timezone.now()),
    )
    after = client.get(url).content.decode()
    assert "Likeliest: 4 with" in after
    assert "A gap at 4." in after
    assert "Short" in words(client.get(url))


def test_a_cancelled_or_past_case_is_shown_without_a_verdict(stocked, as_person):
    case = stocked.a_case(predictions=SURE, day=tomorrow())
    Case.objects.filter(pk=case.pk).update(status="cancelled", cancel_reason="booked_in_error")
    said = words(as_person("coordinator").get(reverse("case", args=[case.pk])))
    assert "no longer to come" in said
    assert "Make the pick list" not in said


def test_pages_take_a_fixed_number_of_queries(stocked, as_person, django_assert_max_num_queries):
    case = stocked.a_case(predictions=SURE, day=tomorrow())
    client = as_person("coordinator")
    for n in range(2):
        with django_assert_max_num_queries(41):
            client.get(reverse("fortnight"))
        with django_assert_max_num_queries(45):
            client.get(reverse("case", args=[case.pk]))
        for m in range(10 if n == 0 else 0):
            stocked.a_case(predictions=SURE, day=tomorrow() + timedelta(days=m))
        from django.core.cache import cache

        cache.clear()


def test_two_sites_are_shown_together_and_can_be_told_apart(stocked, as_person):
    stocked.a_case(predictions=SURE, day=tomorrow(), reference="FINE-1")
    Role.objects.create(person=stocked.cast.coordinator, kind=Role.Kind.COORDINATOR, site=stocked.far_site)
    client = as_person("coordinator")
    both = words(client.get(reverse("fortnight")))
    assert "Theatre 1, Larkmere" in both and "Every site" in both
    assert "FINE-1" not in words(client.get(reverse("fortnight"), {"site": "fennside"}))
    assert Site.objects.count() == 2
