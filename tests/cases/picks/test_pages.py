"""The pages of pick lists, by HTTP: what is there to see and to press, for whom, and the paper."""

from typing import Any
from uuid import uuid4

import pytest
from django.urls import reverse

from cases.picks.models import PickList
from cases.picks.services import pick_list_make
from cases.reservations.models import Hold
from tests.world import NOW, World

pytestmark = pytest.mark.django_db


@pytest.fixture
def made(world: World, plan: Any) -> PickList:
    component = world.component("femoral", "2", side="right")
    world.unit(component, 1, lot="M2604K", bin="K1-4")
    plan.want(component)
    plan.missing.append("Tibial 4: none free on site in date.")
    plan.sets.append(world.a_set("general", "KG-01").pk)
    return pick_list_make(by=world.cast.coordinator, case=world.a_case(reference="LK-1187"), at=NOW)


def text_of(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def test_the_list_is_made_by_one_press_and_leads_to_its_page(world: World, plan: Any, as_person: Any) -> None:
    case = world.a_case()
    answer = as_person("coordinator").post(
        reverse("pick-list-make", args=[case.pk]), {"client_key": str(uuid4())}
    )
    made = PickList.objects.get(case=case)
    assert (answer.status_code, answer.url) == (303, reverse("pick-list", args=[made.pk]))


def test_pressing_twice_makes_one_list(world: World, plan: Any, as_person: Any) -> None:
    case, key, client = world.a_case(), str(uuid4()), as_person("coordinator")
    urls = {
        client.post(reverse("pick-list-make", args=[case.pk]), {"client_key": key}).url for _press in range(2)
    }
    assert len(urls) == PickList.objects.count() == 1


@pytest.mark.parametrize("key", ["", "not-a-key", "\x00"])
def test_a_broken_key_does_no_harm(world: World, plan: Any, as_person: Any, key: str) -> None:
    address = reverse("pick-list-make", args=[world.a_case().pk])
    assert as_person("coordinator").post(address, {"client_key": key}).status_code == 303


def test_making_needs_a_press_not_a_link(world: World, plan: Any, as_person: Any) -> None:
    address = reverse("pick-list-make", args=[world.a_case().pk])
    assert as_person("coordinator").get(address).status_code == 405
    assert not PickList.objects.exists()


def test_a_case_leads_to_its_list_in_force(world: World, made: PickList, as_person: Any) -> None:
    without = world.a_case()

    def led_to(case_id: int) -> Any:
        return as_person("circulating").get(reverse("case-pick-list", args=[case_id])).url

    assert led_to(made.case_id) == reverse("pick-list", args=[made.pk])
    assert led_to(without.pk) == reverse("case", args=[without.pk])


def test_no_list_is_said_in_words(world: World, as_person: Any) -> None:
    page = text_of(as_person("coordinator").get(reverse("pick-lists")))
    assert "No list is in force." in page and "0 lists" not in page


def test_the_page_shows_what_to_take_from_where(made: PickList, as_person: Any) -> None:
    page = text_of(as_person("technician").get(reverse("pick-list", args=[made.pk])))
    for words in (
        "LK-1187", made.number, "Total knee", "RIGHT", "Femoral component A", "lot M2604K", "K1-4",
        "Knee general set", "KG-01", "Implant store, shelf 1", "Sterile store", "likely",
        f"PL{made.pk:05d}-001", "Covered", "96 in 100; wanted 95",
    ):  # fmt: skip
        assert words in page, words
    assert "the implant is the surgeon’s choice" in page
    assert reverse("pick-list-pdf", args=[made.pk]) in page


def test_the_page_tells_what_is_not_on_site(made: PickList, as_person: Any) -> None:
    page = text_of(as_person("stores").get(reverse("pick-list", args=[made.pk])))
    assert "1 thing not on site" in page
    assert "Tibial 4" in page
    assert "none free on site in date" in page


def test_the_page_tells_when_the_list_may_no_longer_fit(made: PickList, as_person: Any) -> None:
    client, address = as_person("coordinator"), reverse("pick-list", args=[made.pk])
    assert "no longer" not in text_of(client.get(address))
    Hold.objects.update(ended_at=NOW, ended_reason="released")
    assert "is no longer kept for this case" in text_of(client.get(address))


def test_who_may_not_make_lists_sees_the_page_without_the_button(made: PickList, as_person: Any) -> None:
    address = reverse("pick-list-make", args=[made.case_id])
    page = reverse("pick-list", args=[made.pk])
    assert address in text_of(as_person("coordinator").get(page))
    assert address not in text_of(as_person("scrub").get(page))
    assert as_person("scrub").post(address).status_code == 403


@pytest.mark.parametrize("who", ["supplier", "stranger", "far_coordinator"])
def test_others_learn_not_even_that_there_is_a_list(made: PickList, as_person: Any, who: str) -> None:
    client = as_person(who)
    for name in ("pick-list", "pick-list-pdf"):
        assert client.get(reverse(name, args=[made.pk])).status_code == 404
    assert client.post(reverse("pick-list-make", args=[made.case_id])).status_code == 404
    assert made.number not in text_of(client.get(reverse("pick-lists")))


def test_the_paper_is_a_file_that_nobody_keeps(made: PickList, as_person: Any) -> None:
    answer = as_person("technician").get(reverse("pick-list-pdf", args=[made.pk]))
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Cache-Control"] == "no-store"
    assert f'filename="{made.number}.pdf"' in answer["Content-Disposition"]
    assert answer.content.startswith(b"%PDF-")


def test_the_lines_can_be_had_as_a_file(made: PickList, as_person: Any) -> None:
    answer = as_person("stores").get(reverse("pick-list", args=[made.pk]), {"as": "csv"})
    lines = answer.content.decode("utf-8-sig").splitlines()
    assert len(lines) == 1 + made.lines.count()
    assert "2,Femoral component A RIGHT likely" in lines[1]


def test_the_lists_in_force_are_listed_earliest_first(world: World, plan: Any, as_person: Any) -> None:
    late, early = world.a_case(hour=15, reference="R-LATE"), world.a_case(hour=8, reference="R-EARLY")
    for case in (late, early):
        pick_list_make(by=world.cast.coordinator, case=case, at=NOW)
    page = text_of(as_person("technician").get(reverse("pick-lists")))
    assert page.index("R-EARLY") < page.index("R-LATE")
    assert "2 lists in force" in page


def test_the_pages_cost_the_same_few_queries(
    made: PickList, world: World, as_person: Any, django_assert_max_num_queries: Any
) -> None:
    client = as_person("technician")
    # session, person, roles, the list, what `reading.sheet_of` asks (10), what stands around the page
    with django_assert_max_num_queries(20):
        client.get(reverse("pick-list", args=[made.pk]))
    for _more in range(3):
        pick_list_make(by=world.cast.coordinator, case=world.a_case(), at=NOW)
    with django_assert_max_num_queries(12):
        client.get(reverse("pick-lists"))
