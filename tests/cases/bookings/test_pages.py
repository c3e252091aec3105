"""The pages of booking, through HTTP: without scripts, keeping what was typed, refusing plainly."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from cases.bookings.models import Case, CaseSlot, PlanFamily, Prediction, ProcedurePlan
from cases.bookings.services import case_book
from tests.world import World
from trays.catalogue.models import Component, Family
from trays.ledger.models import Event

BOOK = "case-book"


def day() -> Any:
    return timezone.localdate() + timedelta(days=3)


def first_step(world: World, **changes: Any) -> dict[str, Any]:
    facts = {
        "procedure": world.procedure.pk,
        "side": "right",
        "surgeon": world.cast.surgeon.pk,
        "theatre": world.theatre.pk,
        "day": day().isoformat(),
        "session": "all_day",
        "step": "second",
    }
    return facts | changes


def second_step(world: World, **changes: Any) -> dict[str, Any]:
    femoral, tibial = (f"right-{world.slots[code].pk}" for code in ("femoral", "tibial"))
    facts = first_step(world) | {
        "step": "book",
        "client_key": str(uuid4()),
        "reference": "K-100",
        "position": "",
        "starts": "09:15",
        "minutes": "",
        "urgency": "planned",
        "planner": world.cast.surgeon.pk,
        f"{femoral}-low": "2",
        f"{femoral}-high": "3",
        f"{femoral}-method": "xray_template",
        f"{femoral}-confidence": "80",
        f"{tibial}-low": "3",
    }
    return facts | changes


def a_case(world: World, **changes: Any) -> Case:
    facts: dict[str, Any] = {
        "by": world.cast.coordinator,
        "theatre": world.theatre,
        "day": day(),
        "procedure": world.procedure,
        "surgeon": world.cast.surgeon,
        "reference": f"P{world.next():03d}",
        "sides": ["right"],
        "at": timezone.now(),
    }
    return case_book(**(facts | changes)).case


def text_of(answer: Any) -> str:
    return str(answer.content.decode())


@pytest.fixture
def coordinator(as_person: Any) -> Client:
    client: Client = as_person("coordinator")
    return client


def test_no_side_is_chosen_beforehand_and_the_words_are_there(coordinator: Client) -> None:
    page = text_of(coordinator.get(reverse(BOOK)))
    assert page.count('type="radio" name="side"') == 4
    assert "checked" not in page
    for word in ("left", "right", "both sides"):
        assert word in page
    assert "style=" not in page


def test_the_first_step_leads_to_the_slots_of_the_plan_and_saves_nothing(
    world: World, coordinator: Client
) -> None:
    page = text_of(coordinator.post(reverse(BOOK), first_step(world)))

    for slot in ("Femoral", "Tibial", "Patellar"):
        assert slot in page
    assert "Insert" not in page  # the plan brings all of it, in one family
    assert "Never a name" in page
    assert not Event.objects.exists()


def test_a_case_is_booked_with_a_range_and_a_single_size(world: World, coordinator: Client) -> None:
    answer = coordinator.post(reverse(BOOK), second_step(world))

    case = Case.objects.get()
    assert (answer.status_code, answer["Location"]) == (303, reverse("case", args=[case.pk]))
    assert timezone.localtime(case.starts_at).strftime("%H:%M") == "09:15"
    rows = Prediction.objects.order_by("slot__plan_slot__number")
    found = [(row.slot.plan_slot.code, row.low_rank, row.high_rank, row.confidence) for row in rows]
    # The tibial's method was left empty: as above.
    assert found == [("femoral", 1, 2, 0.8), ("tibial", 2, 2, None)]
    assert {row.method for row in rows} == {"xray_template"}
    assert {row.planner for row in rows} == {world.cast.surgeon}


def test_both_sides_ask_for_each_side_by_name(world: World, coordinator: Client) -> None:
    page = text_of(coordinator.post(reverse(BOOK), first_step(world, side="both")))
    assert page.count("<legend><b>Femoral</b>") == 2
    left = f"left-{world.slots['femoral'].pk}"
    coordinator.post(
        reverse(BOOK), second_step(world, side="both") | {f"{left}-low": "1", f"{left}-method": "ct_template"}
    )
    assert list(Case.objects.get().constructs.values_list("side", flat=True)) == ["left", "right"]
    assert Prediction.objects.get(slot__construct__side="left").method == "ct_template"


def test_the_same_form_sent_twice_books_once(world: World, coordinator: Client) -> None:
    form = second_step(world)
    first = coordinator.post(reverse(BOOK), form)
    again = coordinator.post(reverse(BOOK), form)
    assert again["Location"] == first["Location"]
    assert Case.objects.count() == 1
    assert Event.objects.count() == 1


def wrong(world: World) -> dict[str, tuple[dict[str, Any], str]]:
    femoral = f"right-{world.slots['femoral'].pk}"
    return {
        "side missing": ({"side": ""}, "needs a side"),
        "side not a side": ({"side": "up"}, "not one of the available choices"),
        "no side for a sided one": ({"side": "none"}, "needs a side"),
        "low above high": ({f"{femoral}-low": "4"}, "The lowest size is above the highest"),
        "outside the family": ({f"{femoral}-high": "12"}, "12 is not one of the available choices"),
        "to without from": ({f"{femoral}-low": ""}, "the lowest of the range"),
        "no method": ({f"{femoral}-method": ""}, "It is not said how the size was predicted"),
        "too sure": ({f"{femoral}-confidence": "101"}, "less than or equal to 100"),
        "no reference": ({"reference": " "}, "Give the case a reference."),
        "a control character": ({"reference": "A\x00B"}, "Null characters"),
        "another control character": ({"reference": "A\x1dB"}, "letters and figures"),
        "long reference": ({"reference": "x" * 41}, "at most 40"),
        "duplicate": ({"reference": "TAKEN"}, "already a case TAKEN"),
        "no minutes": ({"minutes": "0"}, "greater than or equal to 1"),
        "no such time": ({"starts": "25:00"}, "valid time"),
        "no such position": ({"position": "7"}, "not one of the available choices"),
        "no such day": ({"day": "2026-02-30"}, "valid date"),
        "a day in another century": ({"day": "2206-12-01"}, "too far away"),
        "no such procedure": ({"procedure": "999"}, "not one of the available choices"),
        "no such surgeon": ({"surgeon": "x"}, "not one of the available choices"),
        "a key that is none": ({"client_key": "1234"}, "valid UUID"),
    }


NAMES = (
    "side missing", "side not a side", "no side for a sided one", "low above high", "outside the family",
    "to without from", "no method", "too sure", "no reference", "a control character",
    "another control character", "long reference", "duplicate", "no minutes", "no such time",
    "no such position", "no such day", "a day in another century", "no such procedure", "no such surgeon",
    "a key that is none",
)  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_what_is_wrong_is_said_nothing_is_saved_and_nothing_typed_is_lost(
    world: World, coordinator: Client, name: str
) -> None:
    a_case(world, reference="TAKEN", theatre=world.second_theatre)
    changes, sentence = wrong(world)[name]
    answer = coordinator.post(reverse(BOOK), second_step(world, **changes))

    page = text_of(answer)
    assert answer.status_code == 422
    assert sentence in page
    assert 'id="faults"' in page
    assert f'value="{changes.get("starts", "09:15")}"' in page
    assert Case.objects.count() == 1


def test_the_way_back_to_the_first_step_carries_what_was_typed_into_the_second(
    world: World, coordinator: Client
) -> None:
    back = text_of(coordinator.post(reverse(BOOK), second_step(world, step="first")))
    assert '<input type="hidden" name="reference" value="K-100">' in back
    assert "Go on to place and sizes" in back

    again = text_of(coordinator.post(reverse(BOOK), second_step(world, step="second")))
    assert 'value="K-100"' in again
    assert 'value="09:15"' in again
    assert '<option value="xray_template" selected>' in again
    assert 'id="faults"' not in again


def test_no_plan_on_file_is_said_at_the_procedure(world: World, coordinator: Client) -> None:
    ProcedurePlan.objects.update(surgeon=world.cast.surgeon)
    answer = coordinator.post(reverse(BOOK), first_step(world, surgeon=""))
    assert answer.status_code == 422
    assert "no procedure plan on file" in text_of(answer)


def test_a_link_from_a_list_brings_theatre_and_day_along(world: World, coordinator: Client) -> None:
    page = text_of(coordinator.get(reverse(BOOK), {"theatre": world.theatre.pk, "day": "2027-01-05"}))
    assert f'<option value="{world.theatre.pk}" selected>' in page
    assert 'value="2027-01-05"' in page


def test_a_case_is_put_before_another_by_choosing_its_position(world: World, coordinator: Client) -> None:
    other = a_case(world, reference="FIRST")
    page = text_of(coordinator.post(reverse(BOOK), first_step(world)))
    assert "1, before Total knee FIRST" in page
    coordinator.post(reverse(BOOK), second_step(world, position="1", starts=""))
    other.refresh_from_db()
    assert (Case.objects.get(reference="K-100").position, other.position) == (1, 2)


def test_a_choice_of_family_decides_which_sizes_there_are(world: World, coordinator: Client) -> None:
    tibial = world.slots["tibial"]
    other = Family.objects.create(code="tibial-b", name="Tibial component B")
    PlanFamily.objects.create(slot=tibial, family=other, number=2)
    for rank, size in enumerate(("2", "3", "XL")):
        Component.objects.create(
            family=other, code=f"tb-{size}", name=size, size=size, size_rank=rank, supplier=world.supplier
        )
    name = f"right-{tibial.pk}"
    refused = coordinator.post(reverse(BOOK), second_step(world, **{f"{name}-low": "XL"}))
    assert "That size is not one of Tibial component A. Its sizes go from 1 to 4." in text_of(refused)

    coordinator.post(reverse(BOOK), second_step(world, **{f"{name}-low": "XL", f"{name}-family": other.pk}))
    made = CaseSlot.objects.get(plan_slot=tibial)
    assert made.family == other
    assert made.predictions.get().low_rank == 2


def test_a_change_is_saved_and_a_bad_one_keeps_what_was_typed(world: World, coordinator: Client) -> None:
    case = a_case(world)
    url = reverse("case-change", args=[case.pk])
    form = {
        "reference": "K-7", "surgeon": "", "starts": "10:45", "minutes": "75", "urgency": "emergency",
        "client_key": str(uuid4()),
    }  # fmt: skip
    bad = coordinator.post(url, form | {"minutes": "many"})
    assert bad.status_code == 422
    assert 'value="K-7"' in text_of(bad)

    answer = coordinator.post(url, form)
    assert answer.status_code == 303
    case.refresh_from_db()
    assert (case.reference, case.minutes, case.urgency, case.surgeon) == ("K-7", 75, "emergency", None)
    assert timezone.localtime(case.starts_at).strftime("%H:%M") == "10:45"
    coordinator.post(url, form)
    assert list(Event.objects.values_list("verb", flat=True)) == ["case.book", "case.change"]


def test_a_family_is_changed_on_the_page_or_refused_at_its_field(world: World, coordinator: Client) -> None:
    tibial = world.slots["tibial"]
    other = Family.objects.create(code="tibial-b", name="Tibial component B")
    PlanFamily.objects.create(slot=tibial, family=other, number=2)
    case = a_case(world)
    slot = CaseSlot.objects.get(construct__case=case, plan_slot=tibial)
    url = reverse("case-change", args=[case.pk])
    form = {
        "reference": case.reference, "surgeon": case.surgeon_id, "starts": "08:30", "minutes": "100",
        "urgency": "planned", f"slot-{slot.pk}-family": other.pk,
    }  # fmt: skip
    prediction = Prediction.objects.create(
        slot=slot, method="xray_template", made_at=timezone.now(), low_rank=1, high_rank=1
    )
    refused = coordinator.post(url, form)
    assert "does not have the sizes that were predicted" in text_of(refused)
    prediction.delete()

    assert coordinator.post(url, form).status_code == 303
    slot.refresh_from_db()
    assert slot.family == other


def test_a_prediction_is_added_and_the_earlier_ones_are_shown(world: World, as_person: Any) -> None:
    surgeon: Client = as_person("surgeon")
    case = a_case(world)
    slot = CaseSlot.objects.get(construct__case=case, plan_slot=world.slots["femoral"])
    url = reverse("case-predict", args=[case.pk])
    form = {"planner": "", f"slot-{slot.pk}-low": "1", f"slot-{slot.pk}-method": "ct_template"}
    empty = text_of(surgeon.get(url))
    assert "Nothing has been predicted yet" in empty

    assert surgeon.post(url, form | {"client_key": str(uuid4())}).status_code == 303
    second = form | {f"slot-{slot.pk}-low": "3", f"slot-{slot.pk}-high": "4", "client_key": str(uuid4())}
    assert surgeon.post(url, second).status_code == 303
    assert surgeon.post(url, second).status_code == 303

    page = text_of(surgeon.get(url))
    assert page.index("<b>3–4</b>") < page.index("<b>1</b>")
    assert page.count("counts now") == 1
    assert slot.predictions.count() == 2


def test_an_empty_prediction_is_refused_and_sizes_are_kept(world: World, coordinator: Client) -> None:
    case = a_case(world)
    slot = CaseSlot.objects.get(construct__case=case, plan_slot=world.slots["femoral"])
    url = reverse("case-predict", args=[case.pk])
    assert "No size is given" in text_of(coordinator.post(url, {"planner": ""}))
    answer = coordinator.post(url, {f"slot-{slot.pk}-low": "3", f"slot-{slot.pk}-high": "2"})
    assert answer.status_code == 422
    assert '<option value="3" selected>' in text_of(answer)


@pytest.mark.parametrize("name", ["case-change", "case-predict"])
def test_a_case_that_is_cancelled_says_so_instead_of_a_form(
    world: World, coordinator: Client, name: str
) -> None:
    case = a_case(world)
    Case.objects.filter(pk=case.pk).update(status="cancelled", cancel_reason="no_bed")
    answer = coordinator.get(reverse(name, args=[case.pk]))
    assert answer.status_code == 409
    assert "is cancelled" in text_of(answer)


def three(world: World) -> list[Case]:
    return [a_case(world, reference=name) for name in "ABC"]


def order_now() -> str:
    return "".join(Case.objects.order_by("position").values_list("reference", flat=True))


@pytest.mark.parametrize(
    ("move", "extra", "order"),
    [("up 1", {}, "BAC"), ("down 0", {}, "BAC"), ("to 2", {"to-2": "1"}, "CAB"), ("up 0", {}, "ABC")],
)
def test_a_case_is_moved_by_one_button(
    world: World, coordinator: Client, move: str, extra: dict[str, str], order: str
) -> None:
    cases = three(world)
    way, index = move.split()
    case = cases[int(index)]
    form = {"seen": " ".join(str(one.pk) for one in cases), "move": f"{way} {case.pk}"}
    form |= {f"to-{case.pk}": value for value in extra.values()}
    answer = coordinator.post(reverse("list-order", args=[case.list_id]), form)

    assert answer.status_code == 303
    assert order_now() == order


def test_the_button_keeps_the_focus_so_that_the_keyboard_walks_a_case_along(
    world: World, coordinator: Client
) -> None:
    cases = three(world)
    url = reverse("list-order", args=[cases[0].list_id])
    form = {"seen": " ".join(str(one.pk) for one in cases), "move": f"down {cases[0].pk}"}
    page = text_of(coordinator.get(coordinator.post(url, form)["Location"]))
    assert f'value="down {cases[0].pk}" autofocus' in page


def test_a_list_that_changed_is_told_and_shown_as_it_is(world: World, coordinator: Client) -> None:
    cases = three(world)
    url = reverse("list-order", args=[cases[0].list_id])
    seen = " ".join(str(one.pk) for one in reversed(cases))
    answer = coordinator.post(url, {"seen": seen, "move": f"up {cases[0].pk}"})
    assert answer.status_code == 409
    assert "has changed since" in text_of(answer)
    for form in ({}, {"seen": "x", "move": "up 1"}, {"seen": seen, "move": "sideways 1"}):
        assert coordinator.post(url, form).status_code == 409
    assert order_now() == "ABC"


def addresses(case: Case) -> list[str]:
    return [
        reverse(BOOK),
        reverse("case-change", args=[case.pk]),
        reverse("case-predict", args=[case.pk]),
        reverse("list-order", args=[case.list_id]),
    ]


@pytest.mark.parametrize("name", ["technician", "scrub", "stores", "quality", "supplier", "stranger"])
def test_others_do_not_get_these_pages(world: World, as_person: Any, name: str) -> None:
    client: Client = as_person(name)
    case = a_case(world)
    assert [client.get(url).status_code for url in addresses(case)] == [403, 404, 404, 404]
    assert client.post(reverse(BOOK), second_step(world)).status_code == 403


def test_a_surgeon_books_and_predicts_but_does_not_reorder(world: World, as_person: Any) -> None:
    client: Client = as_person("surgeon")
    case = a_case(world)
    assert [client.get(url).status_code for url in addresses(case)] == [200, 200, 200, 404]


def test_a_coordinator_of_the_other_site_sees_nothing_of_this_one(world: World, as_person: Any) -> None:
    client: Client = as_person("far_coordinator")
    case = a_case(world)
    assert [client.get(url).status_code for url in addresses(case)] == [200, 404, 404, 404]
    refused = client.post(reverse(BOOK), second_step(world))
    assert refused.status_code == 422
    assert Case.objects.count() == 1


def test_pages_take_a_fixed_number_of_queries(
    world: World, coordinator: Client, django_assert_max_num_queries: Any, django_assert_num_queries: Any
) -> None:
    case = a_case(world)
    coordinator.get(reverse(BOOK))
    counted = {}
    for more in (0, 6):
        for _number in range(more):
            a_case(world, sides=["left", "right"])
        for url in addresses(case):
            with django_assert_max_num_queries(16) as found:
                coordinator.get(url)
            assert counted.setdefault(url, len(found)) == len(found), url
        with django_assert_max_num_queries(20) as found:
            coordinator.post(reverse(BOOK), first_step(world))
        assert counted.setdefault("second", len(found)) == len(found)
