"""One case open in theatre, one that is not yet, and packs for both: for the addresses that need them."""

from datetime import date
from typing import Any

from django.utils import timezone

from cases.bookings.models import Case
from cases.counts.bringing_in import Opened, pack_bring_in
from cases.counts.counting import stage_begin
from cases.counts.models_counts import Stage
from cases.counts.opening import case_open
from cases.picks.services import pick_list_make
from tests.world import World


def furnish_theatre(world: World, *, day: date, waiting: Case) -> dict[str, Any]:
    """The open case has begun its first count with one pack; `waiting` has a pick list and is not opened."""
    keeper, now = world.cast.keeper, timezone.now()
    case = world.a_case(predictions={"femoral": (1, 2)}, day=day, theatre=world.second_theatre)
    case_open(
        by=keeper, case=case, scrub=world.cast.scrub, circulating=world.cast.circulating, at=now
    )
    listed = pick_list_make(by=keeper, case=case, at=now)
    packs = [world.a_set("general", f"TABLE-{n}").packs.get() for n in (1, 2)]
    anyway = Opened(reason="other", decided_by="S. Scrub")
    pack_bring_in(by=keeper, case=case, pack=packs[0], indicator="seen", opened_already=anyway, at=now)
    stage = Stage.objects.filter(count__case=case).first()
    assert stage is not None
    stage_begin(by=keeper, case=case, stage=stage.pk, at=now)
    return {
        "waiting_case": waiting.pk,
        "open_case": case.pk,
        "open_list": listed.pk,
        "open_stage": stage.pk,
        "table_pack": packs[1].pk,
        "no_entries": [],
        "scrub": world.cast.scrub.pk,
        "circulating": world.cast.circulating.pk,
    }
