"""The order of a list, and the halves of moving and cancelling."""

from datetime import datetime, timedelta
from itertools import permutations
from uuid import uuid4

import pytest
from django.db import transaction

from cases.bookings.models import Case, TheatreList
from cases.bookings.positions import starts_after_reorder
from cases.bookings.services import case_call_off, case_relocate, list_open, list_reorder
from tests.cases.bookings.helping import TOMORROW, book, order_of, verbs
from tests.world import NOW, World
from trays.ledger.models import Event
from trays.parties.models import Site
from trays.places.models import Place
from trays.web.errors import NotAllowed, Refusal


def three(world: World) -> list[Case]:
    """A, B and C on one list, 60, 90 and 120 minutes long, a quarter of an hour between them."""
    return [
        book(world, reference=name, minutes=minutes).case
        for name, minutes in (("A", 60), ("B", 90), ("C", 120))
    ]


def other_list(world: World) -> TheatreList:
    return list_open(
        by=world.cast.coordinator, theatre=world.second_theatre, day=TOMORROW, session="all_day", at=NOW
    )


def test_every_order_of_a_list_can_be_made(world: World) -> None:
    cases = three(world)
    for order in permutations(cases):
        list_reorder(
            by=world.cast.coordinator, theatre_list=cases[0].list, order=[one.pk for one in order], at=NOW
        )
        assert order_of(cases[0].list) == [f"{n} {one.reference}" for n, one in enumerate(order, start=1)]


def test_starts_follow_the_order_gaps_stay_and_lengths_go_along(world: World) -> None:
    a, b, c = three(world)
    list_reorder(by=world.cast.coordinator, theatre_list=a.list, order=[a.pk, c.pk, b.pk], at=NOW)

    starts = {case.reference: case.starts_at for case in Case.objects.all()}
    assert starts["A"] == a.starts_at
    assert starts["C"] == b.starts_at
    assert starts["B"] == b.starts_at + timedelta(minutes=120 + 15)


def test_an_overlap_in_the_old_order_becomes_no_gap_in_the_new() -> None:
    noon = datetime(2026, 12, 8, 12)
    long = Case(pk=1, starts_at=noon, minutes=100)
    inside = Case(pk=2, starts_at=noon + timedelta(minutes=30), minutes=40)
    assert starts_after_reorder([long, inside], [inside, long]) == [noon, noon + timedelta(minutes=40)]
    assert starts_after_reorder([long, inside], [long, inside]) == [noon, noon + timedelta(minutes=30)]


def test_one_event_names_the_list_and_each_case_that_moved(world: World) -> None:
    a, b, c = three(world)
    list_reorder(by=world.cast.coordinator, theatre_list=a.list, order=[b.pk, a.pk, c.pk], at=NOW)

    event = Event.objects.latest("pk")
    assert event.verb == "list.reorder"
    assert [(line.subject, line.subject_id, line.before, line.after) for line in event.lines.all()] == [
        ("list", a.list_id, "", "reordered"),
        ("case", b.pk, "position 2", "position 1"),
        ("case", a.pk, "position 1", "position 2"),
    ]


def test_a_list_that_changed_meanwhile_is_not_reordered(world: World) -> None:
    a, b, c = three(world)
    facts = {"by": world.cast.coordinator, "theatre_list": a.list, "at": NOW}
    for wrong in (
        {"order": [a.pk, b.pk]},
        {"order": [a.pk, b.pk, b.pk]},
        {"order": [c.pk, b.pk, a.pk], "seen": [b.pk, a.pk, c.pk]},
    ):
        with pytest.raises(Refusal) as refused:
            list_reorder(**facts, **wrong)  # type: ignore[arg-type]
        assert refused.value.code == "list-changed"
    assert order_of(a.list) == ["1 A", "2 B", "3 C"]


def test_a_case_that_is_open_keeps_its_place(world: World) -> None:
    a, b, c = three(world)
    Case.objects.filter(pk=a.pk).update(status="opened")
    facts = {"by": world.cast.coordinator, "theatre_list": a.list, "at": NOW}
    with pytest.raises(Refusal) as refused:
        list_reorder(**facts, order=[b.pk, a.pk, c.pk])  # type: ignore[arg-type]
    assert refused.value.code == "not-booked-any-more"
    list_reorder(**facts, order=[a.pk, c.pk, b.pk])  # type: ignore[arg-type]
    assert order_of(a.list) == ["1 A", "2 C", "3 B"]


def test_a_list_is_reordered_once_for_one_key(world: World) -> None:
    a, b, c = three(world)
    key = uuid4()
    for _attempt in range(2):
        list_reorder(
            by=world.cast.coordinator, theatre_list=a.list, order=[c.pk, a.pk, b.pk],
            seen=[a.pk, b.pk, c.pk], at=NOW, client_key=key,
        )  # fmt: skip
    assert verbs().count("list.reorder") == 1


def test_reordering_takes_the_same_queries_for_any_number_of_cases(
    world: World, django_assert_num_queries: object
) -> None:
    cases = [book(world, minutes=10).case for _number in range(12)]
    order = [case.pk for case in reversed(cases)]
    with django_assert_num_queries(11):  # type: ignore[operator]
        # roles, savepoint twice, lock, cases, two moves; chain, its lock, event, lines, head
        list_reorder(by=world.cast.coordinator, theatre_list=cases[0].list, order=order, at=NOW)


@pytest.mark.parametrize("name", ["surgeon", "technician", "stores", "stranger", "far_coordinator"])
def test_who_may_not_reorder_is_refused(world: World, name: str) -> None:
    a, b, c = three(world)
    with pytest.raises(NotAllowed):
        list_reorder(by=getattr(world.cast, name), theatre_list=a.list, order=[c.pk, b.pk, a.pk], at=NOW)


def test_a_cancelled_case_leaves_its_place_to_those_after_it(world: World) -> None:
    a, b, c = three(world)
    with transaction.atomic():
        off = case_call_off(case=b, reason="no_bed", at=NOW)

    assert order_of(a.list) == ["1 A", "2 C"]
    b.refresh_from_db()
    assert (b.status, b.cancel_reason) == ("cancelled", "no_bed")
    line = off.lines[0]
    assert (line.subject_id, line.before, line.after) == (b.pk, "booked", "cancelled")


def test_a_case_is_cancelled_only_once_and_for_a_reason_on_the_list(world: World) -> None:
    case = book(world).case
    for code, reason in (("reason-unknown", "because"), ("reason-unknown", ""), (None, "no_staff")):
        if code is None:
            with transaction.atomic():
                case_call_off(case=case, reason=reason, at=NOW)
            continue
        with pytest.raises(Refusal) as refused, transaction.atomic():
            case_call_off(case=case, reason=reason, at=NOW)
        assert refused.value.code == code
    with pytest.raises(Refusal) as again, transaction.atomic():
        case_call_off(case=case, reason="no_staff", at=NOW)
    assert again.value.code == "not-booked-any-more"


def test_a_moved_case_goes_to_the_other_list_and_its_own_closes_up(world: World) -> None:
    a, b, c = three(world)
    target = other_list(world)
    book(world, theatre_list=target, reference="X", surgeon=None)
    with transaction.atomic():
        moved = case_relocate(case=a, theatre_list=target, position=1, at=NOW)

    assert order_of(b.list) == ["1 B", "2 C"]
    assert order_of(target) == ["1 A", "2 X"]
    assert moved.lines[0].before == f"list {b.list_id} position 1"
    assert [notice.code for notice in moved.notices] == ["overlap-theatre"]


def test_a_case_moves_to_another_site_only_with_a_reference_that_is_free_there(world: World) -> None:
    far = Place.objects.create(site=world.far_site, code="F1", name="Theatre F", kind="theatre")
    keeper = world.cast.keeper
    there = list_open(by=keeper, theatre=far, day=TOMORROW, session="all_day", at=NOW)
    book(world, by=keeper, theatre_list=there, reference="A", surgeon=None)
    a, b, _c = three(world)
    with transaction.atomic():
        moved = case_relocate(case=b, theatre_list=there, at=NOW).case
    assert moved.site == Site.objects.get(code="fennside")
    with pytest.raises(Refusal) as refused, transaction.atomic():
        case_relocate(case=a, theatre_list=there, at=NOW)
    assert refused.value.code == "duplicate-reference"


def test_a_case_is_not_moved_to_the_list_it_is_on_nor_from_one_it_has_left(world: World) -> None:
    a, b, _c = three(world)
    target = other_list(world)
    with pytest.raises(Refusal) as refused, transaction.atomic():
        case_relocate(case=a, theatre_list=b.list, at=NOW)
    assert refused.value.code == "already-on-that-list"
    with transaction.atomic():
        case_relocate(case=Case.objects.get(pk=a.pk), theatre_list=target, at=NOW)
    with pytest.raises(Refusal) as moved, transaction.atomic():
        case_call_off(case=a, reason="no_bed", at=NOW)
    assert moved.value.code == "case-moved"
