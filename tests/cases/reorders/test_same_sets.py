"""The list of sets and the plan agree on which sets are ready."""

from collections import Counter
from datetime import timedelta

from cases.readiness.laws import Laws
from cases.readiness.shelf import set_item, shelf_for_items
from cases.readiness.snapshot import take
from tests.world import NOW, TODAY, World
from trays.instruments.models import Pack
from trays.instruments.queries import set_facts


def test_the_page_of_sets_and_the_plan_say_ready_of_the_same_sets(world: World) -> None:
    for number, state in enumerate(Pack.State):
        world.a_set("general", f"S-{number:02d}", state=state, trays=1 + number % 2)
    for number, until in enumerate((TODAY - timedelta(days=1), TODAY, TODAY + timedelta(days=3))):
        world.a_set("blocks-small", f"D-{number}", sterile_until=until)
    for number, short in enumerate(((), (1,), (2,), (1, 2))):
        world.a_set("blocks-large", f"L-{number}", short=short)
    case = world.a_case(day=TODAY + timedelta(days=1))
    listed = set_facts(site_ids=[world.site.pk])
    for ahead in (0, 1, 5):
        at = NOW + timedelta(days=ahead)
        snapshot = take(site=world.site, at=at, case=case)
        law = Laws(snapshot).case(snapshot.cases[0])
        wanted = {option.item for need in law.demand.needs for option in need.options}
        stocks = shelf_for_items(snapshot, wanted, law.demand.end).sets
        ready = Counter(one.design_id for one in listed if one.ready_on(snapshot.day))
        assert {set_item(design): count for design, count in ready.items()} == {
            item: stock.count for item, stock in stocks.items() if stock.count
        }
