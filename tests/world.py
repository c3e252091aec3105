"""A small knee world on two sites, built straight into the database, for any test that needs one.

Family sizes are labelled "1" to "4" (ranks 0 to 3); the femoral family is sided. Femoral and tibial
sizes fit when at most one apart; an insert fits the femoral of its own size. The femoral blocks come
in two bands (sizes 1–2 and 3–4), each one set; the general set serves all.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.db import transaction

from cases.bookings.models import (
    Case,
    CaseSlot,
    Construct,
    PlanConsumable,
    PlanFamily,
    PlanLink,
    PlanSetNeed,
    PlanSetOption,
    PlanSlot,
    Prediction,
    Procedure,
    ProcedurePlan,
    TheatreList,
)
from tests.cast import Cast, make_cast
from trays.catalogue.models import Component, Family, FitRule, PackLevel
from trays.identifiers.checkdigits import with_mod10
from trays.instruments.models import (
    ContentsLine,
    DesignServes,
    DesignVersion,
    InstrumentSet,
    InstrumentType,
    Pack,
    PackLine,
    SetDesign,
)
from trays.parties.models import Party, Site, Tenure
from trays.places.models import Place
from trays.processing.moving import Step, lock_packs, move
from trays.stock.models import Pile, Unit

NOW = datetime(2026, 12, 7, 7, 0, tzinfo=UTC)
TODAY = NOW.date()
SIZES = ("1", "2", "3", "4")
THICKNESSES = ("8", "10")


@dataclass
class World:
    """Everything by name; make units, sets and cases with the methods."""

    hospital: Party
    supplier: Party
    site: Site
    far_site: Site
    cast: Cast
    theatre: Place
    second_theatre: Place
    shelf: Place
    sterile_store: Place
    families: dict[str, Family] = field(default_factory=dict)
    components: dict[tuple[Any, ...], Component] = field(default_factory=dict)
    designs: dict[str, SetDesign] = field(default_factory=dict)
    procedure: Procedure | None = None
    plan: ProcedurePlan | None = None
    slots: dict[str, PlanSlot] = field(default_factory=dict)
    counter: int = 0

    def next(self) -> int:
        self.counter += 1
        return self.counter

    def component(self, slot: str, size: str, *, side: str = "none", second: str = "") -> Component:
        return self.components[(slot, size, side, second)]

    def unit(
        self,
        component: Component,
        count: int = 1,
        *,
        expires: date | None = TODAY + timedelta(days=700),
        tenure: str = Tenure.OWNED,
        place: Place | None = None,
        bin: str = "",
        state: str = Unit.State.SHELF,
        lot: str = "",
    ) -> list[Unit]:
        owner = self.hospital if tenure == Tenure.OWNED else self.supplier
        where = place or self.shelf
        return [
            Unit.objects.create(
                component=component,
                lot=lot or f"L{self.next():04d}",
                expires=expires,
                owner=owner,
                tenure=tenure,
                site=where.site,
                place=where,
                bin=bin,
                state=state,
                received_at=NOW - timedelta(days=90),
            )
            for _ in range(count)
        ]

    def stock_everything(self, count: int = 2) -> None:
        """So many units of each implant component."""
        for key, component in self.components.items():
            if key[0] in ("femoral", "tibial", "insert", "patellar"):
                self.unit(component, count)

    def a_set(
        self,
        design: str,
        code: str,
        *,
        state: str = Pack.State.STORED,
        sterile_until: date | None = None,
        trays: int = 1,
        short: Iterable[int] = (),
    ) -> InstrumentSet:
        """One physical set of the design's only version; `short` names contents lines that lack one."""
        version = self.designs[design].versions.get()
        made = InstrumentSet.objects.create(
            version=version, code=code, site=self.site, owner=self.hospital, tenure=Tenure.OWNED
        )
        for tray in range(1, trays + 1):
            pack = Pack.objects.create(
                set=made,
                tray=tray,
                number=f"P{self.next():05d}",
                place=self.sterile_store,
                state=state,
                sterile_until=sterile_until,
                packed_at=NOW - timedelta(days=2),
                packed_by=self.cast.technician,
            )
            for line in version.lines.filter(tray=tray):
                PackLine.objects.create(
                    pack=pack, line=line, present=line.quantity - (1 if line.number in short else 0)
                )
        return made

    def take_to(self, packs: Iterable[Pack], state: str, **changes: Any) -> None:
        """Take packs to a state by a step on record, as the database asks for."""
        with transaction.atomic():
            locked = lock_packs(pack.pk for pack in packs)
            move(locked, state, Step(by=self.cast.technician, at=NOW), **changes)

    def sets_of_each(self, count: int = 1) -> None:
        for design in self.designs:
            for number in range(1, count + 1):
                self.a_set(design, f"{design}-{number:02d}")

    def a_list(self, *, day: date = TODAY, theatre: Place | None = None) -> TheatreList:
        made, _ = TheatreList.objects.get_or_create(
            site=self.site, theatre=theatre or self.theatre, day=day, session=TheatreList.Session.ALL_DAY
        )
        return made

    def a_case(
        self,
        *,
        predictions: dict[str, tuple[int, int]] | None = None,
        sides: tuple[str, ...] = ("right",),
        day: date = TODAY,
        hour: int = 9,
        reference: str = "",
        theatre: Place | None = None,
        confidence: float | None = None,
        predicted_at: datetime = NOW - timedelta(days=4),
    ) -> Case:
        """A booked knee; `predictions` maps a slot to its (low, high) ranks, on every side."""
        theatre_list = self.a_list(day=day, theatre=theatre)
        assert self.procedure and self.plan
        case = Case.objects.create(
            site=self.site,
            reference=reference or f"R{self.next():04d}",
            list=theatre_list,
            position=theatre_list.cases.count() + 1,
            procedure=self.procedure,
            plan=self.plan,
            surgeon=self.cast.surgeon,
            starts_at=datetime(day.year, day.month, day.day, hour, tzinfo=UTC),
            minutes=100,
            booked_at=NOW - timedelta(days=5),
            booked_by=self.cast.coordinator,
        )
        for number, side in enumerate(sides, start=1):
            construct = Construct.objects.create(case=case, number=number, side=side)
            for slot in self.plan.slots.all():
                family = slot.families.filter(contingency=False).first()
                assert family
                made = CaseSlot.objects.create(construct=construct, plan_slot=slot, family=family.family)
                if predictions and slot.code in predictions:
                    low, high = predictions[slot.code]
                    Prediction.objects.create(
                        slot=made,
                        method=Prediction.Method.XRAY,
                        planner=self.cast.surgeon,
                        made_at=predicted_at,
                        low_rank=low,
                        high_rank=high,
                        confidence=confidence,
                    )
        return case


def gtin(number: int) -> str:
    body = f"0952{number:09d}"
    return with_mod10(body)


def make_world() -> World:
    """The two sites, the people, the catalogue, the designs and one plan; no stock, no sets, no cases."""
    hospital = Party.objects.create(code="LOC", name="Larkmere Orthopaedic Centre", kind="hospital")
    supplier = Party.objects.create(code="MER", name="Merrowfield", kind="supplier", lead_working_days=2)
    site = Site.objects.create(code="larkmere", name="Larkmere", party=hospital, zone="Europe/London")
    far_site = Site.objects.create(code="fennside", name="Fennside", party=hospital, zone="Europe/London")

    def place(code: str, name: str, kind: str, walk: int) -> Place:
        return Place.objects.create(site=site, code=code, name=name, kind=kind, walk=walk)

    world = World(
        hospital=hospital,
        supplier=supplier,
        site=site,
        far_site=far_site,
        cast=make_cast(site=site, far_site=far_site, supplier=supplier),
        theatre=place("T1", "Theatre 1", Place.Kind.THEATRE, 90),
        second_theatre=place("T2", "Theatre 2", Place.Kind.THEATRE, 91),
        shelf=place("S1", "Implant store, shelf 1", Place.Kind.SHELF, 10),
        sterile_store=place("SS", "Sterile store", Place.Kind.STERILE_STORE, 20),
    )
    _catalogue(world)
    _rules(world)
    _designs(world)
    _plan(world)
    return world


def _catalogue(world: World) -> None:
    for slot, sided in (("femoral", True), ("tibial", False), ("insert", False), ("patellar", False)):
        family = Family.objects.create(
            code=f"{slot}-a",
            name=f"{slot.capitalize()} component A",
            slot=slot,
            sided=sided,
            second_measure="thickness" if slot == "insert" else "",
        )
        world.families[slot] = family
        for rank, size in enumerate(SIZES):
            for side in ("left", "right") if sided else ("none",):
                for second_rank, second in enumerate(THICKNESSES if slot == "insert" else ("",)):
                    name = " ".join(w for w in (slot.capitalize(), size, second, side) if w and w != "none")
                    made = Component.objects.create(
                        family=family,
                        code=f"{slot[:3]}-{size}-{second or 'x'}-{side}",
                        name=name,
                        size=size,
                        size_rank=rank,
                        second=second,
                        second_rank=second_rank,
                        side=side,
                        supplier=world.supplier,
                    )
                    PackLevel.objects.create(code=gtin(world.next()), component=made)
                    world.components[(slot, size, side, second)] = made
    soft = Family.objects.create(code="soft-goods", name="Soft goods", kind="consumable")
    for rank, (code, name, count_class, multiple) in enumerate(
        (("swab-5", "Swabs, five", "soft", 5), ("blade-1", "Saw blade", "sharp", 1))
    ):
        made = Component.objects.create(
            family=soft,
            code=code,
            name=name,
            size_rank=rank,
            supplier=world.supplier,
            count_class=count_class,
            count_multiple=multiple,
        )
        world.components[("consumable", code, "none", "")] = made
        Pile.objects.create(
            component=made,
            lot=f"C{rank}",
            expires=TODAY + timedelta(days=400),
            owner=world.hospital,
            tenure=Tenure.OWNED,
            site=world.site,
            place=world.shelf,
            quantity=100,
        )


def _rules(world: World) -> None:
    def rule(a: str, rank_a: int, b: str, rank_b: int, fits: bool) -> FitRule:
        return FitRule(
            family_a=world.families[a],
            rank_a=rank_a,
            family_b=world.families[b],
            rank_b=rank_b,
            verdict="allowed" if fits else "refused",
            source="Fit chart A, issue 1",
            valid_from=date(2026, 1, 1),
        )

    ranks = range(len(SIZES))
    FitRule.objects.bulk_create(
        [rule("femoral", a, "tibial", b, abs(a - b) <= 1) for a in ranks for b in ranks]
        + [rule("femoral", a, "insert", b, a == b) for a in ranks for b in ranks]
    )


def _designs(world: World) -> None:
    forceps = InstrumentType.objects.create(code="forceps", name="Artery forceps")
    block = InstrumentType.objects.create(code="block", name="Cutting block")
    for code, name, band in (
        ("general", "Knee general set", None),
        ("blocks-small", "Femoral blocks, small", (0, 1)),
        ("blocks-large", "Femoral blocks, large", (2, 3)),
    ):
        design = SetDesign.objects.create(code=code, name=name)
        version = DesignVersion.objects.create(design=design, version=1, valid_from=date(2026, 1, 1))
        ContentsLine.objects.create(
            version=version, tray=1, number=1, section="Top", instrument=block, quantity=2, critical=True
        )
        ContentsLine.objects.create(
            version=version, tray=1, number=2, section="Bottom", instrument=forceps, quantity=4
        )
        if band:
            DesignServes.objects.create(
                design=design, family=world.families["femoral"], first_rank=band[0], last_rank=band[1]
            )
        world.designs[code] = design


def _plan(world: World) -> None:
    world.procedure = Procedure.objects.create(code="knee", name="Total knee", sided=True, minutes=100)
    world.plan = ProcedurePlan.objects.create(
        code="knee-all", procedure=world.procedure, detail="cemented, cruciate-retaining"
    )
    for number, (code, use, predicted, all_seconds) in enumerate(
        (
            ("femoral", 1.0, True, False),
            ("tibial", 1.0, True, False),
            ("insert", 1.0, False, True),
            ("patellar", 0.3, True, False),
        ),
        start=1,
    ):
        slot = PlanSlot.objects.create(
            plan=world.plan,
            number=number,
            code=code,
            name=code.capitalize(),
            use=use,
            predicted=predicted,
            bring_all_seconds=all_seconds,
        )
        PlanFamily.objects.create(slot=slot, family=world.families[code])
        world.slots[code] = slot
    for a, b in (("femoral", "tibial"), ("femoral", "insert")):
        PlanLink.objects.create(plan=world.plan, slot_a=world.slots[a], slot_b=world.slots[b])
    for number, (name, options) in enumerate(
        (("General instruments", ["general"]), ("Femoral blocks", ["blocks-small", "blocks-large"])), start=1
    ):
        need = PlanSetNeed.objects.create(plan=world.plan, number=number, name=name)
        for rank, option in enumerate(options, start=1):
            PlanSetOption.objects.create(need=need, design=world.designs[option], number=rank)
    for code, quantity in (("swab-5", 4), ("blade-1", 2)):
        PlanConsumable.objects.create(
            plan=world.plan, component=world.component("consumable", code), quantity=quantity
        )
