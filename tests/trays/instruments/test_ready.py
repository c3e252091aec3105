"""When a set is ready, and why not, in words."""

from datetime import timedelta
from typing import Any

import pytest

from tests.world import TODAY, World
from trays.instruments.models import InstrumentSet, Pack, PackLine
from trays.instruments.queries import contents_of, pack_by_number, serves_in_words, set_by_grai, set_facts
from trays.instruments.ready import READY_STATES, SetFacts
from trays.places.models import Place


def facts_of(world: World, one: InstrumentSet) -> SetFacts:
    (facts,) = set_facts(site_ids=[world.site.pk], set_ids=[one.pk])
    return facts


def test_a_stored_complete_set_is_ready(world: World) -> None:
    facts = facts_of(world, world.a_set("general", "G-01"))
    assert facts.ready_on(TODAY)
    assert facts.why_not(TODAY) == ()


@pytest.mark.parametrize("state", [state for state in Pack.State])
def test_only_released_stored_and_issued_packs_are_ready(world: World, state: str) -> None:
    facts = facts_of(world, world.a_set("general", "G-01", state=state))
    assert facts.ready_on(TODAY) == (state in READY_STATES) == (state in Pack.READY)
    assert bool(facts.why_not(TODAY)) != facts.ready_on(TODAY)


def test_a_pack_is_in_date_on_its_last_day(world: World) -> None:
    facts = facts_of(world, world.a_set("general", "G-01", sterile_until=TODAY))
    assert facts.ready_on(TODAY)
    assert not facts.ready_on(TODAY + timedelta(days=1))
    assert "in date until Mon 7 Dec" in facts.why_not(TODAY + timedelta(days=1))[0]


def test_a_critical_line_that_lacks_one_stops_the_set_and_another_does_not(world: World) -> None:
    critical = facts_of(world, world.a_set("general", "G-01", short=[1]))
    other = facts_of(world, world.a_set("general", "G-02", short=[2]))
    assert not critical.ready_on(TODAY)
    assert "lacks 1 Cutting block, critical" in critical.why_not(TODAY)[0]
    assert other.ready_on(TODAY)
    assert other.shortages == 1


def test_a_critical_line_that_nobody_counted_in_is_lacking(world: World) -> None:
    one = world.a_set("general", "G-01")
    PackLine.objects.filter(pack__set=one, line__critical=True).delete()
    assert not facts_of(world, one).ready_on(TODAY)


def test_one_pack_that_is_not_ready_holds_the_set_back(world: World) -> None:
    one = world.a_set("general", "G-01", trays=2)
    assert facts_of(world, one).ready_on(TODAY)
    world.take_to(one.packs.filter(tray=2), Pack.State.RECEIVED)
    assert facts_of(world, one).why_not(TODAY) == (
        f"{one.packs.get(tray=2).number} is received, to be cleaned",
    )


def test_a_tray_without_a_pack_and_a_set_without_any_are_not_ready(world: World) -> None:
    one = world.a_set("general", "G-01")
    one.packs.update(tray=2)
    assert facts_of(world, one).why_not(TODAY) == ("tray 1 has no pack",)
    PackLine.objects.all().delete()
    Pack.objects.all().delete()
    assert facts_of(world, one).why_not(TODAY) == ("no pack is on file",)


def test_a_pack_at_another_site_is_not_ready_here(world: World) -> None:
    one = world.a_set("general", "G-01")
    away = Place.objects.create(site=world.far_site, code="F", name="Far", kind=Place.Kind.STERILE_STORE)
    one.packs.update(place=away)
    assert "is at Fennside" in facts_of(world, one).why_not(TODAY)[0]


def test_a_hundred_sets_take_as_many_queries_as_one(world: World, django_assert_num_queries: Any) -> None:
    for number in range(12):
        world.a_set("general", f"G-{number:02d}", trays=2, short=[1] if number % 3 == 0 else ())
    with django_assert_num_queries(4):  # sets; what packs lack; packs; trays of the lists
        facts = set_facts(site_ids=[world.site.pk])
    assert sum(one.ready_on(TODAY) for one in facts) == 8


def test_contents_stand_beside_what_is_there(world: World) -> None:
    rows = contents_of(world.a_set("general", "G-01", short=[2]))
    assert [(row.number, row.name, row.wanted, row.present, row.missing) for row in rows] == [
        (1, "Cutting block", 2, 2, 0),
        (2, "Artery forceps", 4, 3, 1),
    ]


def test_a_design_says_which_sizes_it_serves(world: World) -> None:
    words = serves_in_words([design.pk for design in world.designs.values()])
    assert words[world.designs["blocks-large"].pk] == ("Femoral component A 3–4",)
    assert world.designs["general"].pk not in words


def test_sets_and_packs_are_found_by_their_labels(world: World) -> None:
    one = world.a_set("general", "G-01")
    one.grai = "09521234000013KG01"
    one.save()
    pack = one.packs.get()
    pack.giai = "9521234P004711"
    pack.save()
    assert set_by_grai("9521234000013KG01") == one == set_by_grai("09521234000013KG01")
    assert pack_by_number("9521234P004711") == pack == pack_by_number(pack.number.lower())
    assert set_by_grai("9521234000013KG02") is None
    assert pack_by_number("nothing") is None
