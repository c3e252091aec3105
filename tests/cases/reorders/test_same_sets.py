"""The list of sets and the plan agree on which sets are ready."""

from datetime import timedelta

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
    world.a_case(day=TODAY + timedelta(days=1))
    planned = {one.id: one for one in take(site=world.site, at=NOW).sets}
    listed = set_facts(site_ids=[world.site.pk])
    assert set(planned) == {one.pk for one in listed}
    for ahead in (0, 1, 5):
        day = TODAY + timedelta(days=ahead)
        assert [one.code for one in listed if one.ready_on(day)] == [
            one.code for one in listed if planned[one.pk].ready(day)
        ]
