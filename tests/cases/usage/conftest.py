"""A knee on the table: stock that came in through the services, a case, its labels, people with PINs."""

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import pytest
from django.contrib.auth.hashers import make_password

from cases.bookings.models import Case, Construct
from cases.counts.models_counts import Stage, TheatreCount
from cases.counts.models_templates import CountTemplate, StageKind
from cases.picks.models import PackFor
from cases.usage.bringing import unit_bring_in
from cases.usage.kinds import Override, Scanned, scanned
from cases.usage.models import Brought
from tests.world import NOW, TODAY, World
from trays.catalogue.models import Component
from trays.identifiers.meaning import read
from trays.instruments.models import Pack
from trays.parties.models import Tenure
from trays.staff.models import Person
from trays.staff.signing import Signer, signer
from trays.stock.models import Pile, Unit
from trays.stock.services import Goods, unit_receive

PIN = "4711"
LATER = TODAY + timedelta(days=300)
SAID = Override("no other to be had", "Ms Surgeon")


@dataclass
class Table:
    """What the tests do in theatre, in few words."""

    world: World
    case: Case

    @property
    def by(self) -> Person:
        return self.world.cast.circulating

    def construct(self, side: str = "right") -> Construct:
        return self.case.constructs.get(side=side)

    def component(self, slot: str, size: str = "2", side: str | None = None, second: str = "") -> Component:
        own = side or ("right" if slot == "femoral" else "none")
        thick = second or ("8" if slot == "insert" else "")
        return self.world.component(slot, size, side=own, second=thick)

    def stock(
        self,
        slot: str,
        size: str = "2",
        *,
        lot: str = "",
        serial: str = "",
        count: int = 1,
        expires: date | None = LATER,
        tenure: str = Tenure.OWNED,
        **more: str,
    ) -> list[Unit]:
        component = self.component(slot, size, **more)
        goods = Goods(
            component=component, tenure=tenure, place=self.world.shelf, serial=serial, expires=expires,
            owner=self.world.hospital if tenure == Tenure.OWNED else self.world.supplier,
            lot=lot or f"L{self.world.next():04d}",
        )  # fmt: skip
        in_date = replace(goods, expires=LATER)
        units = unit_receive(
            by=self.world.cast.stores, site=self.world.site, goods=in_date, count=count, at=NOW
        )
        if expires != LATER:
            # Nothing out of date is received; it becomes so on the shelf.
            Unit.objects.filter(pk__in=[unit.pk for unit in units]).update(expires=expires)
            units = list(Unit.objects.filter(pk__in=[unit.pk for unit in units]))
        return units

    def label(self, unit: Unit, **changes: Any) -> Scanned:
        """The label of a unit as a scanner sends it."""
        return replace(
            self.box(unit.component, lot=unit.lot, serial=unit.serial, expires=unit.expires), **changes
        )

    def box(
        self, component: Component, *, lot: str = "", serial: str = "", expires: date | None = LATER
    ) -> Scanned:
        """The label of a box, whether it is on stock or not."""
        code = component.pack_levels.get().code
        text = f"01{code}" + (f"17{expires:%y%m%d}" if expires else "")
        text += f"10{lot}" + ("\x1d" if lot and serial else "") if lot else ""
        text += f"21{serial}" if serial else ""
        return scanned(read(f"]d2{text}", today=TODAY, proven=True))

    def bring(self, slot: str, size: str = "2", **more: Any) -> Brought:
        """A unit of the stock, opened at the table."""
        given = {
            key: more.pop(key) for key in ("override", "construct", "opened", "another", "at") if key in more
        }
        (unit,) = self.stock(slot, size, **more)
        return self.bring_unit(unit, **given)

    def bring_unit(self, unit: Unit, **given: Any) -> Brought:
        at = given.pop("at", NOW)
        return unit_bring_in(by=self.by, case=self.case, scanned=self.label(unit), at=at, **given)

    def signer(self, person: Person) -> Signer:
        return signer(person=Person.objects.get(pk=person.pk), pin=PIN)

    def counted(self) -> None:
        """The final stage of the count is closed."""
        template, _made = CountTemplate.objects.get_or_create(
            site=self.world.site, procedure=None, name="One stage", defaults={"made_at": NOW}
        )
        count = TheatreCount.objects.create(
            case=self.case, template=template, opened_at=NOW, opened_by=self.by
        )
        stage = Stage.objects.create(
            count=count, number=9, mark="F", word="Final", kind=StageKind.FINAL, signers=[]
        )
        stage.state, stage.begun_at, stage.ended_at, stage.ended_by = "closed", NOW, NOW, self.by
        stage.scrub_name, stage.circulating_name = "S. Scrub", "C. Circulating"
        stage.save()

    def a_pack(self, code: str = "general-01", design: str = "general", *, opened: bool = True) -> Pack:
        """A pack that left for the case, opened there or not."""
        made = self.world.a_set(design, code)
        (pack,) = made.packs.select_related("set__site")
        self.world.take_to([pack], Pack.State.ISSUED, place=self.world.theatre)
        row = PackFor.objects.create(
            case=self.case, pack=pack, round=pack.round, issued_at=NOW, issued_by=self.by
        )
        if opened:
            self.world.take_to([pack], Pack.State.OPENED)
            row.opened_at, row.opened_by = NOW, self.by
            row.save()
        return Pack.objects.select_related("set__site", "set__version").get(pk=pack.pk)


def give_pins(world: World) -> None:
    """Those who sign have a PIN."""
    for person in (world.cast.scrub, world.cast.circulating, world.cast.surgeon, world.cast.quality):
        person.pin = make_password(PIN)
        person.save()


@pytest.fixture
def table(world: World) -> Table:
    """A right knee, on today's list and open."""
    Pile.objects.all().delete()
    give_pins(world)
    case = world.a_case(predictions={"femoral": (1, 1), "tibial": (1, 2)})
    case.status = Case.Status.OPENED
    case.save()
    return Table(world, case)
