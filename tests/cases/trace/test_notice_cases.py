"""A safety notice leads to the cases that had a piece of its lots, whatever the record knew of it then."""

from typing import Any

import pytest

from cases.usage.models import Brought
from tests.trays.processing.http import questions, signed_in, text_of
from tests.world import NOW, World
from trays.catalogue.models import PackLevel
from trays.stock.models_notices import SafetyNotice
from trays.stock.noticing import LotNamed, notice_open


def brought(world: World, case: Any, number: int, **more: Any) -> Brought:
    return Brought.objects.create(
        case=case, number=number, brought_at=NOW, recorded_at=NOW, by=world.cast.scrub,
        **{"source": "held", "lot": "L77", **more},
    )  # fmt: skip


def noticed(world: World, *lots: str) -> SafetyNotice:
    named = [LotNamed(world.component("tibial", "2"), lot) for lot in lots]
    return notice_open(
        by=world.cast.stores, site=world.site, supplier=world.supplier, lots=named, reason="seal", at=NOW
    )


@pytest.fixture
def cases(world: World) -> list[Any]:
    return [world.a_case(reference=f"CASE-{letter}") for letter in "ABCD"]


def test_the_cases_that_had_one_are_listed_and_no_others(world: World, cases: list[Any]) -> None:
    item = world.component("tibial", "2")
    used = {"fate": "implanted", "fate_at": NOW, "fate_by": world.cast.scrub, "opened_at": NOW}
    used["opened_by"] = world.cast.scrub
    brought(world, cases[0], 1, component=item, **used)
    brought(world, cases[1], 1, component=item, lot="FINE", **used)
    # Its code was not on file then; it is now.
    code = PackLevel.objects.get(component=item).code
    brought(world, cases[2], 1, di=code, source="unknown_code", described="a tibial component")
    notice = noticed(world, "L77")
    page = f"/safety-notices/{notice.pk}/cases/"
    said = text_of(signed_in(world.cast.quality).get(page))
    assert "In 1 case a piece of these lots was implanted" in said
    assert "CASE-A" in said and "CASE-C" in said
    assert "CASE-B" not in said and "CASE-D" not in said
    # People of another site see none of these cases.
    assert "No piece of these lots" in text_of(signed_in(world.cast.far_coordinator).get(page))
    page = f"/safety-notices/{notice.pk}/"
    assert "Cases that used one" in text_of(signed_in(world.cast.quality).get(page))


def test_the_page_asks_the_same_questions_however_many_cases(world: World, cases: list[Any]) -> None:
    item = world.component("tibial", "2")
    notice = noticed(world, "L77")
    client = signed_in(world.cast.quality)
    page = f"/safety-notices/{notice.pk}/cases/"
    brought(world, cases[0], 1, component=item)
    first = questions(client, page)
    for number, case in enumerate(cases):
        brought(world, case, number + 2, component=item)
    assert questions(client, page) == first
