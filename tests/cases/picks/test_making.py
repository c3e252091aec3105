"""Making a pick list: what stands on it, what is kept by it, what replaces it, and what the record says."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from cases.bookings.models import Case
from cases.picks import services
from cases.picks.models import PickLine, PickList
from cases.picks.services import pick_list_make
from cases.reservations.hold import units_hold
from cases.reservations.models import Hold, SetHold
from cases.reservations.queries import holds_of, set_holds_of
from cases.reservations.sets import set_hold
from tests.world import NOW, TODAY, World
from trays.catalogue.models import Component
from trays.instruments.models import Pack
from trays.ledger.append import Line, record
from trays.ledger.models import Event
from trays.places.models import Place
from trays.stock.models import Unit
from trays.web.errors import NotAllowed, Refusal

pytestmark = pytest.mark.django_db


@pytest.fixture
def femoral(world: World) -> Component:
    return world.component("femoral", "2", side="right")


def make(world: World, case: Case, **more: Any) -> PickList:
    return pick_list_make(by=world.cast.coordinator, case=case, at=more.pop("at", NOW), **more)


def absent_of(made: PickList) -> list[tuple[str, str]]:
    return [(gone["name"], gone["why"]) for gone in made.said["absent"]]


def test_a_list_holds_the_unit_it_names(world: World, plan: Any, femoral: Component) -> None:
    case, (late, early) = world.a_case(), (
        *world.unit(femoral, 1, expires=TODAY + timedelta(days=90)),
        *world.unit(femoral, 1, expires=TODAY + timedelta(days=30)),
    )
    plan.want(femoral)
    made = make(world, case)
    line = made.lines.get()
    assert (line.unit, line.group, line.likelihood, line.quantity) == (early, "likely", 0.5, 1)
    assert holds_of(case).get().unit == early
    assert not Hold.objects.filter(unit=late).exists()


def test_the_number_comes_from_the_sequence_and_is_never_used_again(world: World, plan: Any) -> None:
    case = world.a_case()
    numbers = [make(world, case).number for _again in range(3)]
    assert numbers == [f"PL-{pk:05d}" for pk in PickList.objects.order_by("pk").values_list("pk", flat=True)]
    assert len(set(numbers)) == 3


def test_the_sites_order_of_owners_decides(world: World, plan: Any, femoral: Component) -> None:
    (owned,) = world.unit(femoral, 1, expires=TODAY + timedelta(days=3))
    (consigned,) = world.unit(femoral, 1, tenure="consigned")
    plan.want(femoral)
    assert make(world, world.a_case()).lines.get().unit == consigned
    world.site.owner_order = ["owned", "consigned", "loaned"]
    world.site.save()
    assert make(world, world.a_case()).lines.get().unit == owned


def test_a_unit_must_be_in_date_on_the_day_by_the_sites_clock(
    world: World, plan: Any, femoral: Component
) -> None:
    world.unit(femoral, 1, expires=TODAY)
    plan.want(femoral)
    world.site.zone = "Pacific/Auckland"
    world.site.save()
    # 20:00 UTC is the next morning there, so what keeps until today is out of date by then.
    made = make(world, Case.objects.get(pk=world.a_case(hour=20).pk))
    assert not made.lines.exists()
    assert absent_of(made) == [("Femoral component A", "1 on site: 1 out of date on the day")]
    world.site.zone = "Europe/London"
    world.site.save()
    assert make(world, Case.objects.get(pk=world.a_case(hour=20).pk)).lines.count() == 1


def test_what_cannot_be_found_is_told_with_the_reason(world: World, plan: Any, femoral: Component) -> None:
    units = world.unit(femoral, 1)
    units_hold(by=world.cast.coordinator, case=world.a_case(), units=units, at=NOW)
    plan.want(femoral)
    plan.want(world.component("tibial", "3"))
    plan.missing.append("Insert 2 × 8: none free on site in date.")
    made = make(world, world.a_case())
    assert absent_of(made) == [
        ("Femoral component A", "1 on site: 1 held for another case"),
        ("Tibial component A", "none on site"),
        ("Insert 2 × 8: none free on site in date.", ""),
    ]


def test_both_sides_get_a_unit_each(world: World, plan: Any) -> None:
    tibial = world.component("tibial", "2")
    world.unit(tibial, 2)
    plan.want(tibial, times=2)
    made = make(world, world.a_case(sides=("left", "right")))
    assert made.lines.values("unit").distinct().count() == 2
    assert holds_of(made.case).count() == 2


def test_lines_run_by_the_walk_then_by_bin_then_by_size(world: World, plan: Any) -> None:
    far = Place.objects.create(site=world.site, code="S9", name="Shelf 9", kind="shelf", walk=5)
    sizes = [world.component("femoral", size, side="right") for size in "1234"]
    for component, place, bin_ in zip(
        sizes, (world.shelf, world.shelf, far, world.shelf), ("A2-10", "A2-9", "Z", "A2-10"), strict=True
    ):
        world.unit(component, 1, place=place, bin=bin_)
        plan.want(component)
    one = world.a_set("general", "KG-01", trays=2)
    plan.sets.append(one.pk)
    made = make(world, world.a_case())
    walk = [(line.number, line.component.size if line.component else line.pack.tray) for line in
            made.lines.select_related("component", "pack").order_by("number")]
    assert walk == [(1, "3"), (2, "2"), (3, "1"), (4, "4"), (5, 1), (6, 2)]


def test_a_sets_packs_are_lines_and_the_set_is_held_with_its_way_back(world: World, plan: Any) -> None:
    one, spare = world.a_set("general", "KG-01"), world.a_set("blocks-small", "KB-01")
    plan.sets += [one.pk, spare.pk]
    plan.contingency_sets.append(spare.pk)
    made = make(world, world.a_case())
    assert list(made.lines.order_by("number").values_list("pack__set__code", "group")) == [
        ("KB-01", "contingency"),
        ("KG-01", "set"),
    ]
    held = set_holds_of(made.case).get(set=one)
    assert held.ends_at - held.starts_at == timedelta(minutes=100 + 360)


def test_a_pack_that_is_not_ready_is_told_and_not_listed(world: World, plan: Any) -> None:
    one = world.a_set("general", "KG-01", trays=2)
    world.take_to(one.packs.filter(tray=2), Pack.State.QUARANTINED)
    plan.sets.append(one.pk)
    made = make(world, world.a_case())
    assert [line.pack.tray for line in made.lines.all()] == [1]
    ((name, why),) = absent_of(made)
    assert name == "Knee general set"
    assert "quarantine" in why


def test_a_set_held_for_another_case_is_told_with_the_time_it_is_free(world: World, plan: Any) -> None:
    one = world.a_set("general", "KG-01")
    first, second = world.a_case(hour=9), world.a_case(hour=11)
    set_hold(by=world.cast.coordinator, instrument_set=one, case=first, at=NOW)
    plan.sets.append(one.pk)
    made = make(world, second)
    assert not made.lines.exists()
    ((_name, why),) = absent_of(made)
    assert "16:40" in why
    assert SetHold.objects.count() == 1


def test_consumables_come_from_piles_and_what_lacks_is_told(world: World, plan: Any) -> None:
    swabs, blade = (world.component("consumable", code) for code in ("swab-5", "blade-1"))
    plan.consumables += [(swabs.pk, 4), (blade.pk, 120)]
    made = make(world, world.a_case())
    assert sorted(made.lines.values_list("component__code", "quantity", "group")) == [
        ("blade-1", 100, "consumable"),
        ("swab-5", 4, "consumable"),
    ]
    assert absent_of(made) == [("Saw blade", "100 of 120 on the shelf and in date")]
    assert made.said["absent"][0]["take"] == 20


def test_a_unit_kept_for_the_list_is_taken_and_stays_the_lists(
    world: World, plan: Any, femoral: Component
) -> None:
    case, (listed, _free) = world.a_case(), world.unit(femoral, 2)
    units_hold(by=world.cast.coordinator, theatre_list=case.list, units=[listed], at=NOW)
    plan.want(femoral)
    assert make(world, case).lines.get().unit == listed
    assert Hold.objects.get().list == case.list


def test_a_new_list_replaces_the_old_and_gives_back_what_it_no_longer_needs(
    world: World, plan: Any, femoral: Component
) -> None:
    case, other = world.a_case(), world.component("femoral", "3", side="right")
    (kept,), (dropped,) = world.unit(femoral, 1), world.unit(other, 1)
    by_hand = world.unit(world.component("tibial", "1"), 1)
    units_hold(by=world.cast.coordinator, case=case, units=by_hand, at=NOW)
    one, two = world.a_set("general", "KG-01"), world.a_set("blocks-small", "KB-01")
    plan.want(femoral)
    plan.want(other)
    plan.sets += [one.pk, two.pk]
    first = make(world, case)
    plan.sizes.pop()
    plan.sets.pop()
    second = make(world, case, at=NOW + timedelta(hours=1))
    first.refresh_from_db()
    assert first.replaced_at == NOW + timedelta(hours=1)
    assert PickList.objects.get(case=case, replaced_at__isnull=True) == second
    # What a person held by hand stood on no list, so no list gives it back.
    assert {hold.unit for hold in holds_of(case)} == {kept, *by_hand}
    assert Hold.objects.get(unit=dropped).ended_reason == "replaced"
    assert {row.set for row in set_holds_of(case)} == {one}
    assert Hold.objects.get(unit=kept).placed_at == NOW


def test_each_list_is_one_event_that_names_what_moved(world: World, plan: Any, femoral: Component) -> None:
    case, (unit,) = world.a_case(), world.unit(femoral, 1)
    one = world.a_set("general", "KG-01")
    plan.want(femoral)
    plan.sets.append(one.pk)
    first = make(world, case)
    plan.sizes.clear()
    second = make(world, case)
    lines = [
        set(event.lines.values_list("subject", "subject_id", "before", "after", "quantity"))
        for event in Event.objects.filter(verb="pick_list.make").order_by("sequence")
    ]
    assert lines == [
        {
            ("pick_list", first.pk, "", "made", 0),
            ("unit", unit.pk, "free", "held", 0),
            ("set", one.pk, "free", "held", 0),
        },
        {
            ("pick_list", second.pk, "", "made", 0),
            ("pick_list", first.pk, "made", "replaced", 0),
            ("unit", unit.pk, "held", "free", 0),
        },
    ]
    assert case.reference not in "".join(Event.objects.values_list("text", flat=True))


def test_the_same_key_makes_one_list(world: World, plan: Any, femoral: Component) -> None:
    case, key = world.a_case(), uuid4()
    world.unit(femoral, 2)
    plan.want(femoral)
    first, again = (make(world, case, client_key=key) for _press in range(2))
    assert first == again
    assert PickList.objects.count() == Hold.objects.count() == 1
    with pytest.raises(Refusal) as refused:
        make(world, world.a_case(), client_key=key)
    assert refused.value.code == "key-used-before"


def change(world: World, case: Case) -> None:
    record(
        chain=world.site.code, verb="case.change", by=world.cast.coordinator, at=NOW,
        lines=[Line("case", case.pk, "booked", "booked")],
    )


def test_a_case_changed_while_its_plan_is_made_is_planned_anew(
    world: World, plan: Any, femoral: Component
) -> None:
    case = world.a_case()
    world.unit(femoral, 1)
    plan.want(femoral)

    def once() -> None:
        if plan.asked == 1:
            change(world, case)

    plan.before_answer = once
    assert make(world, case).lines.count() == 1
    assert plan.asked == 2


def test_a_case_that_keeps_changing_is_refused_and_nothing_is_kept(
    world: World, plan: Any, femoral: Component
) -> None:
    case = world.a_case()
    world.unit(femoral, 1)
    plan.want(femoral)
    plan.before_answer = lambda: change(world, case)
    with pytest.raises(Refusal) as refused:
        make(world, case)
    assert refused.value.code == "changed-meanwhile"
    assert plan.asked == services.TRIES
    assert not PickList.objects.exists()
    assert not Hold.objects.exists()


def test_a_plan_that_others_took_from_is_made_anew(world: World, plan: Any, femoral: Component) -> None:
    case, units = world.a_case(), world.unit(femoral, 1)
    plan.want(femoral)
    tibial = world.component("tibial", "2")
    world.unit(tibial, 1)

    def others() -> None:
        if plan.asked == 1:
            units_hold(by=world.cast.coordinator, case=world.a_case(), units=units, at=NOW)
            plan.missing.append("Femoral 2 RIGHT: none free on site in date.")

    def look_again() -> None:
        others()
        if plan.asked == 2:
            plan.sizes.clear()
            plan.want(tibial)

    plan.before_answer = look_again
    made = make(world, case)
    assert plan.asked == 3
    assert made.lines.get().component == tibial
    assert made.said["in_room"]["word"] == "covered"


def test_a_list_that_lacks_what_was_planned_does_not_call_itself_covered(
    world: World, plan: Any, femoral: Component
) -> None:
    plan.want(femoral)
    made = make(world, world.a_case())
    assert made.said["in_room"]["word"] == "unknown"
    assert made.in_room == 0
    assert "make it again" in made.said["reasons"][0]


def test_nothing_is_picked_for_a_cancelled_case(world: World, plan: Any) -> None:
    case = world.a_case()
    Case.objects.update(status=Case.Status.CANCELLED, cancel_reason="unwell")
    with pytest.raises(Refusal) as refused:
        make(world, Case.objects.get(pk=case.pk))
    assert refused.value.code == "case-not-open"


@pytest.mark.parametrize("who", ["scrub", "quality", "surgeon", "supplier", "stranger", "far_coordinator"])
def test_whose_act_it_is_not_may_not_make_a_list(world: World, plan: Any, who: str) -> None:
    with pytest.raises(NotAllowed):
        pick_list_make(by=getattr(world.cast, who), case=world.a_case(), at=NOW)
    assert not PickList.objects.exists()


@pytest.mark.parametrize("who", ["stores", "technician", "keeper"])
def test_stores_and_sterile_services_may_make_one(world: World, plan: Any, who: str) -> None:
    assert pick_list_make(by=getattr(world.cast, who), case=world.a_case(), at=NOW).made_by.username == who


def test_a_longer_list_takes_no_more_queries(world: World, plan: Any) -> None:
    make(world, world.a_case())  # the person's roles and the site's chain are there from now on
    counts = []
    for wanted, case in ((1, world.a_case()), (4, world.a_case())):
        plan.sizes.clear()
        for size in "1234"[:wanted]:
            component = world.component("femoral", size, side="right")
            world.unit(component, 2)
            plan.want(component)
        with CaptureQueriesContext(connection) as queries:
            assert make(world, case).lines.count() == wanted
        counts.append(len(queries))
    assert counts[0] == counts[1]
    assert counts[0] <= 40


def test_units_not_on_hand_are_never_on_a_list(world: World, plan: Any, femoral: Component) -> None:
    for state in set(Unit.State) - set(Unit.ON_HAND):
        world.unit(femoral, 1, state=state)
    plan.want(femoral)
    made = make(world, world.a_case())
    assert not PickLine.objects.exists()
    assert absent_of(made) == [("Femoral component A", "none on site")]
