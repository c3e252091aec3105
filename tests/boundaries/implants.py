"""A two-sided case at the table with boxes in every state, packs in the room, a set that failed: for the
addresses that need them.
"""

from datetime import date, timedelta
from typing import Any

from django.contrib.auth.hashers import make_password
from django.utils import timezone

from cases.bookings.models import Case
from cases.counts.models_counts import Stage
from cases.counts.opening import case_open
from cases.picks.models import PackFor
from cases.usage.bringing import box_take_down, unit_bring_in
from cases.usage.failing import set_fail
from cases.usage.fates import fate_record
from cases.usage.kinds import Scanned
from cases.usage.models import Brought
from tests.world import World
from trays.instruments.models import Pack

PIN = "4711"


def furnish_implants(world: World, *, day: date) -> dict[str, Any]:
    """Boxes 1 to 4: opened, sealed, implanted without a card, of a code that nobody knows."""
    for person in (world.cast.scrub, world.cast.quality):
        person.pin = make_password(PIN)
        person.save()
    by, now = world.cast.keeper, timezone.now()
    case = world.a_case(sides=("left", "right"), day=day, theatre=world.second_theatre, hour=14)
    case_open(by=by, case=case, scrub=world.cast.scrub, circulating=world.cast.circulating, at=now)
    left = case.constructs.get(side="left")

    def bring(slot: str, lot: str, **more: Any) -> Brought:
        side = "left" if slot == "femoral" else "none"
        component = world.component(slot, "2", side=side, second="8" if slot == "insert" else "")
        world.unit(component, lot=lot, expires=day + timedelta(days=300))
        label = Scanned(raw=lot.encode(), device=component.pack_levels.get().code, lot=lot)
        return unit_bring_in(by=by, case=case, scanned=label, construct=left, at=now, **more)

    bring("femoral", "IMP-1")
    bring("tibial", "IMP-2", opened=False)
    fate_record(by=by, brought=bring("insert", "IMP-3"), fate="implanted", at=now)
    unknown = Scanned(raw=b"?", device="00000000000000", lot="IMP-4", described="Stem, maker unknown")
    loose = box_take_down(by=by, case=case, scanned=unknown, construct=left, at=now)
    packs = [_in_room(world, case, code) for code in ("IMPL-1", "IMPL-2", "IMPL-3")]
    failure = set_fail(by=by, case=case, pack=packs[1], cause="hole", at=now)
    stage = Stage.objects.filter(count__case=case).first()
    mark = case.marks.first()
    assert stage is not None and mark is not None
    return {
        "implant_case": case.pk,
        "box_opened": 1,
        "box_sealed": 2,
        "box_implanted": 3,
        "box_unknown": loose.number,
        "implant_construct": left.pk,
        "construct_number": left.number,
        "room_pack": packs[0].pk,
        "failing_pack": packs[2].pk,
        "lacking_line": packs[0].set.version.lines.get(number=2).pk,
        "failure": failure.pk,
        "waiting_stage": stage.pk,
        "mark": mark.pk,
        "sign_name": "scrub",
        "sign_pin": PIN,
        "paper_time": (now - timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M"),
    }


def _in_room(world: World, case: Case, code: str) -> Pack:
    (pack,) = world.a_set("general", code).packs.select_related("set__site", "set__version")
    world.take_to([pack], Pack.State.ISSUED, place=case.list.theatre)
    world.take_to([pack], Pack.State.OPENED)
    now = timezone.now()
    PackFor.objects.create(
        case=case, pack=pack, round=pack.round, issued_at=now, issued_by=world.cast.keeper, opened_at=now,
        opened_by=world.cast.keeper,
    )  # fmt: skip
    return Pack.objects.select_related("set__site", "set__version").get(pk=pack.pk)
