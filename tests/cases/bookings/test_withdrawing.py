"""Cancelling, moving and retiming a case: the acts that also touch what is held for it."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from cases.bookings.models import Case
from cases.bookings.services import case_change
from cases.picks.retime import set_holds_follow
from cases.picks.withdraw import case_shift, case_withdraw
from cases.reservations.hold import units_hold
from cases.reservations.models import Hold, SetHold
from cases.reservations.sets import set_hold
from tests.cases.bookings.helping import book, order_of
from tests.world import World
from trays.ledger.models import Event
from trays.places.models import Place
from trays.web.errors import NotAllowed, Refusal


def day() -> Any:
    return timezone.localdate() + timedelta(days=3)


def soon(world: World, **changes: Any) -> Case:
    return book(world, **({"day": day(), "at": timezone.now()} | changes)).case


def with_holds(world: World) -> Case:
    """A case for which one unit and one set are held."""
    case = soon(world)
    now = timezone.now()
    units = world.unit(world.component("tibial", "2"), expires=day() + timedelta(days=400))
    units_hold(by=world.cast.coordinator, units=units, case=case, at=now)
    kept = world.a_set("general", "KG-01", sterile_until=day() + timedelta(days=90))
    set_hold(by=world.cast.coordinator, instrument_set=kept, case=case, at=now)
    return case


def open_holds() -> tuple[int, int]:
    return (
        Hold.objects.filter(ended_at__isnull=True).count(),
        SetHold.objects.filter(ended_at__isnull=True).count(),
    )


def test_a_cancelled_case_gives_up_all_that_was_held_for_it_in_one_event(world: World) -> None:
    case = with_holds(world)
    before = Event.objects.count()
    case_withdraw(by=world.cast.coordinator, case=case, reason="no_bed", at=timezone.now())

    case.refresh_from_db()
    assert (case.status, case.cancel_reason, open_holds()) == ("cancelled", "no_bed", (0, 0))
    event = Event.objects.latest("pk")
    assert (Event.objects.count() - before, event.verb, event.reason) == (1, "case.cancel", "no_bed")
    assert [(line.subject, line.before, line.after) for line in event.lines.order_by("number")] == [
        ("case", "booked", "cancelled"),
        ("unit", "held", "free"),
        ("set", "held", "free"),
    ]


def test_a_refused_cancelling_leaves_the_holds(world: World) -> None:
    case = with_holds(world)
    with pytest.raises(Refusal):
        case_withdraw(by=world.cast.coordinator, case=case, reason="", at=timezone.now())
    assert open_holds() == (1, 1)


def test_cancelling_is_done_once_for_one_key(world: World) -> None:
    case = soon(world)
    key = uuid4()
    facts = {"by": world.cast.coordinator, "case": case, "reason": "no_bed", "at": timezone.now()}
    first = case_withdraw(**facts, client_key=key)
    assert case_withdraw(**facts, client_key=key).case == first.case
    with pytest.raises(Refusal) as refused:
        case_withdraw(**facts, client_key=uuid4())
    assert refused.value.code == "not-booked-any-more"


def test_a_moved_case_keeps_its_units_and_gives_up_its_sets(world: World) -> None:
    case = with_holds(world)
    moved = case_shift(
        by=world.cast.coordinator, case=case, theatre=world.second_theatre, day=day() + timedelta(days=1),
        session="morning", at=timezone.now(),
    )  # fmt: skip

    assert moved.case.list.theatre == world.second_theatre
    assert open_holds() == (1, 0)
    lines = Event.objects.latest("pk").lines.order_by("number")
    assert [line.subject for line in lines] == ["list", "case", "set"]


def test_a_case_moved_to_another_site_gives_up_its_units_too(world: World) -> None:
    far = Place.objects.create(site=world.far_site, code="F1", name="Theatre F", kind="theatre")
    case = with_holds(world)
    facts = {"case": case, "theatre": far, "day": day(), "session": "all_day", "at": timezone.now()}
    with pytest.raises(NotAllowed):
        case_shift(by=world.cast.coordinator, **facts)
    assert open_holds() == (1, 1)
    case_shift(by=world.cast.keeper, **facts)
    assert open_holds() == (0, 0)


@pytest.mark.parametrize("name", ["technician", "stores", "stranger", "far_coordinator"])
def test_who_may_not_cancel_or_move_is_refused(world: World, as_person: Any, name: str) -> None:
    case = soon(world)
    by = getattr(world.cast, name)
    with pytest.raises(NotAllowed):
        case_withdraw(by=by, case=case, reason="no_bed", at=timezone.now())
    with pytest.raises(NotAllowed):
        case_shift(
            by=by, case=case, theatre=world.second_theatre, day=day(), session="all_day", at=timezone.now()
        )
    client: Client = as_person(name)
    for page in ("case-cancel", "case-move"):
        assert client.get(reverse(page, args=[case.pk])).status_code == 404


def test_the_cancel_page_wants_a_reason_and_none_is_chosen_beforehand(world: World, as_person: Any) -> None:
    coordinator: Client = as_person("coordinator")
    case = with_holds(world)
    url = reverse("case-cancel", args=[case.pk])
    page = coordinator.get(url).content.decode()
    assert "checked" not in page
    assert "units 1, sets 1" in page
    for bad in ({}, {"reason": "because"}):
        assert coordinator.post(url, bad).status_code == 422
    assert coordinator.post(url, {"reason": "no_bed"}).status_code == 303
    assert Case.objects.get().status == "cancelled"
    assert coordinator.get(url).status_code == 409


def test_the_move_page_moves_and_keeps_what_was_typed_when_it_cannot(world: World, as_person: Any) -> None:
    coordinator: Client = as_person("coordinator")
    case, other = soon(world, reference="A"), soon(world, reference="B")
    url = reverse("case-move", args=[case.pk])
    form = {
        "theatre": world.theatre.pk, "day": day().isoformat(), "session": "all_day", "position": "4",
        "starts": "14:20",
    }  # fmt: skip
    same = coordinator.post(url, form)
    assert same.status_code == 422
    assert "on that list already" in same.content.decode()
    assert 'value="14:20"' in same.content.decode()

    for bad in ({"day": "soon"}, {"position": "0"}, {"theatre": world.shelf.pk}, {"starts": "14:99"}):
        assert coordinator.post(url, form | bad).status_code == 422
    assert coordinator.post(url, form | {"session": "afternoon"}).status_code == 303
    case.refresh_from_db()
    assert (case.position, timezone.localtime(case.starts_at).strftime("%H:%M")) == (4, "14:20")
    assert order_of(other.list) == ["1 B"]


def test_cancel_and_move_pages_take_a_fixed_number_of_queries(
    world: World, as_person: Any, django_assert_max_num_queries: Any
) -> None:
    coordinator: Client = as_person("coordinator")
    case = with_holds(world)
    coordinator.get(reverse("case-cancel", args=[case.pk]))
    counted = {}
    for more in (0, 5):
        for _number in range(more):
            soon(world)
        for page in ("case-cancel", "case-move"):
            with django_assert_max_num_queries(12) as found:
                coordinator.get(reverse(page, args=[case.pk]))
            assert counted.setdefault(page, len(found)) == len(found)


def times_held() -> dict[str, str]:
    """The case for which each set is held now, and from when."""
    rows = SetHold.objects.filter(ended_at__isnull=True).select_related("set", "case")
    return {row.set.code: f"{row.case.reference} {timezone.localtime(row.starts_at):%H:%M}" for row in rows}


def two_with_sets(world: World) -> tuple[Case, Case]:
    """A at 08:30 and B at 10:25, each with a set of its own."""
    made = []
    for name, code in (("A", "KG-01"), ("B", "KG-02")):
        case = soon(world, reference=name)
        kept = world.a_set("general", code, sterile_until=day() + timedelta(days=90))
        set_hold(by=world.cast.coordinator, instrument_set=kept, case=case, at=timezone.now())
        made.append(case)
    return made[0], made[1]


def test_sets_are_held_for_the_new_times_when_the_list_is_reordered(world: World, as_person: Any) -> None:
    a, b = two_with_sets(world)
    assert times_held() == {"KG-01": "A 08:30", "KG-02": "B 10:25"}
    form = {"seen": f"{a.pk} {b.pk}", "move": f"up {b.pk}"}
    assert as_person("coordinator").post(reverse("list-order", args=[a.list_id]), form).status_code == 303

    assert times_held() == {"KG-02": "B 08:30", "KG-01": "A 10:25"}
    event = Event.objects.latest("pk")
    assert event.verb == "list.reorder"
    assert [line.after for line in event.lines.filter(subject="set")] == ["held", "held"]


def test_a_set_that_another_case_has_then_is_no_longer_held_and_it_is_told(
    world: World, as_person: Any
) -> None:
    a, _b = two_with_sets(world)
    later = day() + timedelta(days=1)
    other = soon(world, reference="C", day=later, theatre=world.second_theatre)
    kept = SetHold.objects.get(case=a).set
    set_hold(by=world.cast.coordinator, instrument_set=kept, case=other, at=timezone.now())
    night = a.starts_at.replace(hour=23)
    follow = case_change(
        by=world.cast.coordinator, case=a, at=timezone.now(), starts_at=night, minutes=600,
        follow=set_holds_follow,
    )  # fmt: skip

    assert times_held() == {"KG-01": "C 08:30", "KG-02": "B 10:25"}
    assert follow.notices[0].code == "set-not-held"
    assert "KG-01" in follow.notices[0].sentence


def test_a_hold_for_the_whole_list_follows_the_list(world: World) -> None:
    a, b = soon(world, reference="A"), soon(world, reference="B")
    kept = world.a_set("general", "KG-01", sterile_until=day() + timedelta(days=90))
    set_hold(by=world.cast.coordinator, instrument_set=kept, theatre_list=a.list, at=timezone.now())
    case_change(by=world.cast.coordinator, case=b, at=timezone.now(), minutes=200, follow=set_holds_follow)

    held = SetHold.objects.get(ended_at__isnull=True)
    way_back = timedelta(minutes=world.site.turnaround_minutes)
    assert (held.starts_at, held.ends_at) == (a.starts_at, b.starts_at + timedelta(minutes=200) + way_back)


def test_a_change_of_words_leaves_the_holds_alone(world: World) -> None:
    a, _b = two_with_sets(world)
    before = set(SetHold.objects.values_list("pk", flat=True))
    case_change(
        by=world.cast.coordinator, case=a, at=timezone.now(), reference="NEW", follow=set_holds_follow
    )
    assert set(SetHold.objects.values_list("pk", flat=True)) == before
