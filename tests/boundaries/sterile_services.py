"""One of everything in sterile services, for the addresses that need it: written straight as rows."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.contrib.auth.hashers import make_password
from django.utils import timezone

from tests.world import World
from trays.instruments.models import Pack
from trays.instruments.models_pieces import Care
from trays.parties.models import Site
from trays.places.models import Place
from trays.processing.models import Assembly, AssemblyLine, Shortfall
from trays.processing.models_machines import (
    DayTest,
    DayTestRule,
    Indicator,
    Machine,
    Programme,
    Run,
    RunPack,
)
from trays.processing.models_recall import Recall, RecallPack
from trays.staff.models import Person

PIN = "4820"
LOG = b"time,temperature\n" + b"".join(b"2026-01-02 10:%02d:00,134.8\n" % minute for minute in range(20))


def furnish_sterile_services(world: World) -> dict[str, Any]:
    """Machines with their runs, packs at every stage, a list on the bench, a recall, a missing instrument."""
    site, keeper, now = world.site, world.cast.keeper, timezone.now()
    Person.objects.filter(pk__in=[keeper.pk, world.cast.technician.pk, world.cast.quality.pk]).update(
        pin=make_password(PIN)
    )
    hall = Place.objects.create(site=site, code="HALL", name="Sterile services", kind="sterile_services")
    packs = {
        state: world.a_set("general", f"X-{state}", state=state).packs.get()
        for state in ("used", "received", "assembled", "released", "stored", "issued", "quarantined")
    }
    packs |= {
        name: world.a_set("general", f"X-{name}", state=state).packs.get()
        for name, state in (("clean", "cleaned"), ("begun", "cleaned"), ("washing", "received"))
    }
    for name in ("begun", "assembled"):
        _list(packs[name], keeper, closed=name == "assembled")
    washer, sterilizer = (
        Machine.objects.create(site=site, code=code, name=name, kind=kind, place=hall, packs=4)
        for code, name, kind in (("W1", "Washer 1", "washer"), ("S1", "Sterilizer 1", "sterilizer"))
    )
    wash, steam = (_programme(site, kind) for kind in ("washer", "sterilizer"))
    rules = {
        kind: DayTestRule.objects.create(
            site=site, kind=kind, code=code, name=name, valid_from=now.date() - timedelta(days=9)
        )
        for kind, code, name in (("washer", "soil", "Soil test"), ("sterilizer", "air", "Air removal"))
    }
    for machine in (washer, sterilizer):
        DayTest.objects.create(
            machine=machine, rule=rules[machine.kind], day=now.date(), passed=True, at=now, by=keeper
        )

    def run(machine: Machine, number: int, state: str) -> Run:
        times = {"opened_at": now, "opened_by": keeper}
        if state != "filling":
            times["started_at"] = now
        if state == "ended":
            times |= {"ended_at": now, "verdict": "passed"}
        programme = wash if machine.kind == "washer" else steam
        return Run.objects.create(machine=machine, number=number, programme=programme, state=state, **times)

    washed, filling = run(washer, 1, "ended"), run(washer, 2, "filling")
    ended, running = run(sterilizer, 1, "ended"), run(sterilizer, 2, "running")
    RunPack.objects.create(run=filling, pack=packs["washing"], round=1, position=1)
    RunPack.objects.create(run=ended, pack=packs["quarantined"], round=1, position=1, open=False)
    owed = Indicator.objects.create(
        run=ended, kind="biological", lot="B1", placed_at=now, placed_by=keeper, due_at=now
    )
    recall = Recall.objects.create(
        site=site, number="RC-1", machine=sterilizer, run=ended, cause="faulty_machine", scope="this_load",
        reason="vacuum", opened_at=now, opened_by=keeper,
    )  # fmt: skip
    recalled = RecallPack.objects.create(
        recall=recall, pack=packs["quarantined"], run=ended, round=1, state_then="released"
    )
    line = packs["used"].set.version.lines.order_by("number")[0]
    lacking = Shortfall.objects.create(
        pack=packs["used"], line=line, quantity=1, cause="missing", round=1, noticed_at=now,
        noticed_by=keeper, noticed_where="used",
    )  # fmt: skip
    care = Care.objects.create(
        set=packs["stored"].set, what="Oil the hinges", every_days=9, done_on=now.date() - timedelta(days=10)
    )
    numbers = {f"{name}_number": pack.number for name, pack in packs.items()}
    rows = {
        "washer": washer, "sterilizer": sterilizer, "steam": steam, "soil_test": rules["washer"],
        "hall": hall,
        "theatre": world.theatre, "shelf": world.shelf, "filling": filling, "washed": washed, "ended": ended,
        "running": running, "indicator": owed, "recall": recall, "recalled": recalled, "shortfall": lacking,
        "care": care, **packs,
    }  # fmt: skip
    return {name: row.pk for name, row in rows.items()} | numbers | {"pin": PIN, "log": LOG}


def _list(pack: Pack, by: Person, *, closed: bool) -> None:
    now = timezone.now()
    made = Assembly.objects.create(
        pack=pack, round=1, version=pack.set.version, begun_at=now, begun_by=by,
        closed_at=now if closed else None, closed_by=by if closed else None,
    )  # fmt: skip
    AssemblyLine.objects.bulk_create(
        AssemblyLine(assembly=made, line=line, state="there", present=line.quantity, at=now, by=by)
        for line in pack.set.version.lines.all()
    )


def _programme(site: Site, kind: str) -> Programme:
    return Programme.objects.create(
        site=site, kind=kind, code="p1", name="Programme 1",
        valid_from=timezone.now().date() - timedelta(days=9),
        low_celsius=Decimal(134), high_celsius=Decimal(137), hold_seconds=180, minutes=55,
    )  # fmt: skip
