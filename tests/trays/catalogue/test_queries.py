"""Finding components, families and places."""

from tests.world import World
from trays.catalogue.models import PackLevel
from trays.catalogue.queries import component_by_gtin, families_by_code, search
from trays.places.queries import place_by_code, place_by_label


def test_a_trade_code_leads_to_its_component_and_quantity(world: World) -> None:
    component = world.component("tibial", "3")
    code = component.pack_levels.get().code
    assert component_by_gtin(code) == (component, 1)
    PackLevel.objects.create(code="19521234000017", component=component, quantity=10)
    assert component_by_gtin("19521234000017") == (component, 10)
    assert component_by_gtin("99999999999999") is None


def test_codes_on_file_without_leading_zeros_are_found_too(world: World) -> None:
    component = world.component("tibial", "3")
    PackLevel.objects.create(code="9521234000013", component=component)
    assert component_by_gtin("09521234000013") == (component, 1)


def test_search_takes_words_in_any_order_and_case(world: World) -> None:
    wanted = world.component("femoral", "2", side="left")
    assert search("LEFT femoral 2")[0] == wanted
    assert search(wanted.code.upper())[0] == wanted
    assert search("   ") == []
    assert search("no such thing") == []
    assert len(search("femoral", limit=3)) == 3


def test_families_and_places_are_found_by_code(world: World) -> None:
    assert families_by_code("FEMORAL-A") == world.families["femoral"]
    assert place_by_code(site_id=world.site.pk, code="s1") == world.shelf
    assert place_by_code(site_id=world.far_site.pk, code="s1") is None
    world.shelf.gln, world.shelf.extension = "9521234000020", "S1"
    world.shelf.save()
    assert place_by_label("9521234000020", "S1") == world.shelf
    assert place_by_label("9521234000020", "S2") is None
    assert place_by_label("") is None
