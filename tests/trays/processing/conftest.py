"""A department at work: two machines, their programmes and tests, and people who can sign."""

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

import pytest
from django.contrib.auth.hashers import make_password

from tests.world import NOW, TODAY, World
from trays.instruments.models import Pack
from trays.places.models import Place
from trays.processing import bench, deciding, machines, receiving, runs, storing
from trays.processing.bench import Found
from trays.processing.models import Assembly, LineState
from trays.processing.models_machines import DayTestRule, Machine, MachineKind, Programme, Run
from trays.processing.models_policy import Policy
from trays.staff.models import Person, Role
from trays.staff.signing import Signer, signer

PIN = "4820"


@dataclass
class Department:
    """Sterile services of the world's first site."""

    world: World
    hall: Place
    washer: Machine
    sterilizer: Machine
    wash: Programme
    steam: Programme
    at_once: Programme
    colleague: Person

    @property
    def technician(self) -> Person:
        return self.world.cast.technician

    def sign_as(self, person: Person) -> Signer:
        return signer(person=person, pin=PIN)

    def test_machines(self) -> None:
        for machine in (self.washer, self.sterilizer):
            for rule in DayTestRule.objects.filter(kind=machine.kind):
                machines.day_test_record(by=self.technician, machine=machine, rule=rule, passed=True, at=NOW)

    def receive(self, *packs: Pack) -> list[Pack]:
        return receiving.packs_receive(by=self.technician, packs=packs, place=self.hall, at=NOW)

    def washed(self, *packs: Pack) -> Run:
        run = runs.run_open(by=self.technician, machine=self.washer, programme=self.wash, at=NOW)
        runs.run_fill(by=self.technician, run=run, packs=packs, at=NOW)
        runs.run_start(by=self.technician, run=run, at=NOW)
        runs.run_end(by=self.technician, run=run, verdict="passed", at=NOW + timedelta(minutes=50))
        return deciding.wash_decide(by=self.technician, run=run, passed=True, at=NOW + timedelta(minutes=55))

    def assembled(self, pack: Pack, **found: int) -> Assembly:
        made = bench.assembly_begin(by=self.technician, pack=pack, place=self.hall, at=NOW)
        lines = []
        for line in made.version.lines.filter(tray=pack.tray):
            present = found.get(f"line{line.number}", line.quantity)
            state = LineState.THERE if present == line.quantity else LineState.MISSING
            lines.append(Found(line, state, present))
        bench.lines_check(by=self.technician, assembly=made, found=lines, at=NOW)
        return bench.assembly_close(by=self.technician, assembly=made, at=NOW)

    def packed(self, pack: Pack, **found: int) -> Pack:
        made = self.assembled(pack, **found)
        bench.pack_close(
            by=self.technician,
            assembly=made,
            packaging="wrap",
            weight_grams=6200,
            indicator_lot="X20931",
            at=NOW,
        )
        pack.refresh_from_db()
        return pack

    def loaded(self, *packs: Pack, programme: Programme | None = None, lot: str = "") -> Run:
        """A load that has ended and waits for its decision."""
        run = runs.run_open(
            by=self.technician, machine=self.sterilizer, programme=programme or self.steam, at=NOW
        )
        runs.run_fill(by=self.technician, run=run, packs=packs, at=NOW)
        runs.run_start(by=self.technician, run=run, at=NOW, indicator_lot=lot)
        return runs.run_end(by=self.technician, run=run, verdict="passed", at=NOW + timedelta(minutes=60))

    def released(self, *packs: Pack) -> Run:
        return deciding.load_release(
            by=self.sign_as(self.colleague), run=self.loaded(*packs), at=NOW + timedelta(minutes=65)
        )

    def around(self, *packs: Pack) -> Run:
        """Used packs all the way to a released load."""
        self.receive(*packs)
        self.washed(*packs)
        return self.released(*[self.packed(pack) for pack in packs])

    def stored(self, *packs: Pack) -> None:
        storing.packs_store(
            by=self.technician, packs=packs, place=self.world.sterile_store, bin="1-2", at=NOW
        )


@pytest.fixture
def department(world: World) -> Department:
    site = world.site
    hall = Place.objects.create(
        site=site, code="HALL", name="Sterile services", kind=Place.Kind.STERILE_SERVICES
    )
    for person in (world.cast.technician, world.cast.quality, world.cast.surgeon, world.cast.coordinator):
        person.pin = make_password(PIN)
        person.save()
    colleague = Person.objects.create(
        username="colleague", name="C. Colleague", password="!", pin=make_password(PIN)
    )
    Role.objects.create(person=colleague, kind=Role.Kind.STERILE_SERVICES, site=site)
    Policy.objects.create(site=site, valid_from=TODAY - timedelta(days=30), shelf_life_days=180)
    washer = Machine.objects.create(
        site=site, code="W1", name="Washer 1", kind=MachineKind.WASHER, place=hall, packs=4
    )
    sterilizer = Machine.objects.create(
        site=site, code="S1", name="Sterilizer 1", kind=MachineKind.STERILIZER, place=hall, packs=3
    )
    for kind, code, name in (("washer", "soil", "Soil test"), ("sterilizer", "air", "Air removal")):
        DayTestRule.objects.create(site=site, kind=kind, code=code, name=name, valid_from=TODAY)

    def programme(
        kind: str, code: str, low: str, high: str, hold: int, minutes: int, **more: object
    ) -> Programme:
        return Programme.objects.create(
            site=site, kind=kind, code=code, name=f"Programme {code}", valid_from=TODAY - timedelta(days=30),
            low_celsius=Decimal(low), high_celsius=Decimal(high), hold_seconds=hold, minutes=minutes, **more,
        )  # fmt: skip

    made = Department(
        world=world,
        hall=hall,
        washer=washer,
        sterilizer=sterilizer,
        wash=programme("washer", "instruments", "85", "95", 60, 50, least_a0=600),
        steam=programme("sterilizer", "134", "134", "137", 180, 55, least_f0=50),
        at_once=programme("sterilizer", "now", "134", "137", 180, 12, immediate_use=True),
        colleague=colleague,
    )
    made.test_machines()
    return made
