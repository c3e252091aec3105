"""Whatever people do with units, in whatever order, from receipt to use: the laws of stock hold.

Stock is the sum of its lines, no unit is in two open holds or two open transfers, nothing held or picked is
off the shelf, no pile is below nothing, and a refusal changes nothing. Short by default; TRAYSPAN_LONG=1
tries many more and longer days.
"""

import os
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any, ClassVar

import pytest
from django.db import transaction
from django.db.models import Count
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from cases.bookings.models import Case
from cases.picks.models import PickLine, PickList
from cases.picks.not_this import Goods as Label
from cases.picks.services import pick_list_make
from cases.picks.ticking import goods_pick
from cases.reservations.hold import units_hold, units_release
from cases.reservations.models import Hold
from cases.usage.bringing import unit_bring_in
from cases.usage.fates import fate_record
from cases.usage.kinds import Override, Scanned
from cases.usage.models import Brought
from tests.world import NOW, TODAY, World
from trays.catalogue.models import PackLevel
from trays.ledger.models import Event
from trays.ledger.queries import verify
from trays.parties.models import Tenure
from trays.places.models import Place
from trays.staff.models import Person
from trays.staff.signing import Signer
from trays.stock import apart, returning, services, take_end, taking, transferring, transfers_in
from trays.stock.models import Pile, Unit
from trays.stock.models_apart import SetApart, SupplierReturn
from trays.stock.models_transfers import OPEN_STATES, Transfer, TransferUnit
from trays.stock.verify import stock_faults
from trays.web.errors import Refusal

LONG = os.environ.get("TRAYSPAN_LONG") == "1"
UNITS = st.integers(0, 7)
# Lots, each with its last day: the third is out of date within the machine's time.
LOTS = {"L1": TODAY + timedelta(days=400), "L2": TODAY + timedelta(days=300), "L3": TODAY + timedelta(days=9)}


class Days(RuleBasedStateMachine):
    """Two sites, two cases, a handful of units; its rules are what people do."""

    world: ClassVar[World]
    cases: ClassVar[list[Case]]
    far: ClassVar[Place]
    keeper: ClassVar[Person]

    def __init__(self) -> None:
        super().__init__()
        self.block = transaction.atomic()
        self.block.__enter__()
        self.at = NOW
        # Something is on the shelf from the first act on.
        for lot, consigned in (("L1", False), ("L2", True), ("L3", False), ("L1", True)):
            self.receive_of(lot, 2, consigned=consigned, good=True)

    def teardown(self) -> None:
        assert verify() == []
        transaction.set_rollback(True)
        self.block.__exit__(None, None, None)

    def act(self, do: Callable[..., Any], **what: Any) -> Any:
        """Do it as the keeper, who may do everything; or be refused and leave everything as it was."""
        self.at += timedelta(minutes=7)
        before = self.everything()
        try:
            with transaction.atomic():
                made = do(by=self.keeper, at=self.at, **what)
        except Refusal as refused:
            assert refused.sentence
            assert self.everything() == before
            return None
        assert Event.objects.count() == before[0] + 1
        return made

    def everything(self) -> tuple[Any, ...]:
        return (
            Event.objects.count(),
            list(Unit.objects.order_by("pk").values_list("pk", "state", "place", "owner", "use_first")),
            list(Pile.objects.order_by("pk").values_list("pk", "quantity")),
            list(Hold.objects.order_by("pk").values_list("pk", "ended_at")),
            list(TransferUnit.objects.order_by("pk").values_list("pk", "state")),
        )

    def unit(self, number: int) -> Unit | None:
        rows = Unit.objects.select_related("component", "place", "site", "owner").order_by("pk")
        found = list(rows[number : number + 1])
        return found[0] if found else None

    # In and about

    @rule(lot=st.sampled_from(sorted(LOTS)), count=st.integers(1, 2), consigned=st.booleans())
    def receive(self, lot: str, count: int, consigned: bool) -> None:
        self.receive_of(lot, count, consigned=consigned, good=count == 1)

    def receive_of(self, lot: str, count: int, *, consigned: bool, good: bool) -> None:
        goods = services.Goods(
            component=self.world.component("tibial", "2"), lot=lot, expires=LOTS[lot], place=self.world.shelf,
            owner=self.world.supplier if consigned else self.world.hospital,
            tenure=Tenure.CONSIGNED if consigned else Tenure.OWNED,
        )  # fmt: skip
        condition = "damaged" if not good else "short_accepted" if lot == "L3" else "good"
        self.act(
            services.unit_receive, site=self.world.site, goods=goods, count=count, condition=condition
        )

    @rule(days=st.integers(1, 6))
    def wait(self, days: int) -> None:
        self.at = min(self.at + timedelta(days=days), NOW + timedelta(days=20))

    @rule(number=UNITS, far=st.booleans())
    def move(self, number: int, far: bool) -> None:
        if unit := self.unit(number):
            place = self.far if far else self.world.sterile_store
            self.act(services.units_move, units=[unit], place=place)

    @rule(pieces=st.integers(1, 60), back=st.booleans())
    def move_pieces(self, pieces: int, back: bool) -> None:
        piles = Pile.objects.select_related("site", "place").filter(component__code="swab-5").order_by("pk")
        pile = piles[1] if back and len(piles) > 1 else piles[0]
        there = self.world.shelf if back else self.world.sterile_store
        self.act(services.pile_move, pile=pile, pieces=pieces, place=there)

    # Held, picked, used

    @rule(number=UNITS, case=st.integers(0, 1))
    def hold(self, number: int, case: int) -> None:
        if unit := self.unit(number):
            self.act_or_nothing(units_hold, units=[unit], case=self.cases[case])

    @rule(number=UNITS)
    def release(self, number: int) -> None:
        if unit := self.unit(number):
            self.act(units_release, units=[unit])

    @rule(number=UNITS, case=st.integers(0, 1))
    def pick(self, number: int, case: int) -> None:
        """By the case's list, which is made first; another unit of the lot will do."""
        lists = PickList.objects.filter(case=self.cases[case], replaced_at__isnull=True)
        if not lists.exists():
            self.act_or_nothing(pick_list_make, case=self.cases[case])
        unit, row = self.unit(number), lists.first()
        if unit is None or row is None:
            return
        row.case = self.cases[case]
        ticked = self.act(goods_pick, pick_list=row, goods=Label(unit.component, unit.lot, unit.serial))
        for line in ticked or []:
            self.picked_well(line)

    def picked_well(self, line: PickLine) -> None:
        """What is picked at this moment is on the shelf and in date, today and on the operation's day."""
        if line.unit is None:
            return
        fresh = Unit.objects.get(pk=line.unit_id)
        assert fresh.state in Unit.ON_HAND
        assert fresh.expires is None or fresh.expires >= self.at.date()

    @rule(number=UNITS, case=st.integers(0, 1))
    def bring_in(self, number: int, case: int) -> None:
        if unit := self.unit(number):
            code = PackLevel.objects.get(component=unit.component).code
            self.act(
                unit_bring_in, case=self.cases[case], another=True,
                scanned=Scanned(device=code, lot=unit.lot, expires=unit.expires, typed_reason="label torn"),
                override=Override("Taken all the same", "Ms Surgeon"),
            )  # fmt: skip

    @rule(fate=st.sampled_from(["implanted", "wasted", "returned_sealed"]))
    def end(self, fate: str) -> None:
        row = Brought.objects.filter(fate="", replaced_at__isnull=True).select_related("case__site").first()
        if row is not None:
            why = {"why": "dropped"} if fate == "wasted" else {}
            self.act(fate_record, brought=row, fate=fate, **why)

    # Apart, back, away

    @rule(number=UNITS, what=st.sampled_from(["apart", "back", "dispose", "first"]))
    def set_aside(self, number: int, what: str) -> None:
        if (unit := self.unit(number)) is None:
            return
        if what == "apart":
            self.act(apart.units_set_apart, units=[unit], cause="unsure")
        elif what == "back":
            self.act(apart.units_put_back, units=[unit])
        elif what == "dispose":
            self.act(apart.units_dispose, units=[unit], reason="damaged")
        else:
            self.act(apart.units_use_first, units=[unit])

    @rule(number=UNITS)
    def gather_return(self, number: int) -> None:
        if unit := self.unit(number):
            self.act(returning.return_make, units=[unit], why="exchange")

    @rule(send=st.booleans())
    def end_return(self, send: bool) -> None:
        back = SupplierReturn.objects.select_related("site").order_by("-pk").first()
        if back is not None:
            self.act(returning.return_send if send else returning.return_cancel, back=back, note="agreed")

    @rule(first=UNITS, second=UNITS)
    def list_transfer(self, first: int, second: int) -> None:
        here = list(Unit.objects.filter(site=self.world.site, state="shelf").order_by("pk"))
        units = {here[n % len(here)].pk: here[n % len(here)] for n in (first, second) if here}
        self.act(
            transferring.transfer_make, source=self.world.site, target=self.world.far_site,
            units=list(units.values()),
        )  # fmt: skip

    @rule(number=UNITS, what=st.sampled_from(["on", "on", "on", "stop"]))
    def go_on_with_transfer(self, number: int, what: str) -> None:
        """Sent, then one after the other arrives, listed or not; or ended, or given up."""
        rows = Transfer.objects.select_related("source", "target")
        row = rows.filter(status__in=Transfer.OPEN).order_by("-pk").first()
        if row is None:
            return
        if what == "stop":
            self.act(transferring.transfer_cancel, transfer=row, reason="not needed")
            self.act(transfers_in.transfer_end, transfer=row)
        elif row.status == "made":
            self.act(transferring.transfer_send, transfer=row)
        else:
            waits = row.units.filter(state__in=("sent", "missing")).select_related("unit").first()
            unit = waits.unit if waits is not None and number % 2 else self.unit(number)
            if unit is not None:
                self.act(transfers_in.transfer_receive, transfer=row, units=[unit], place=self.far)

    @rule(how=st.sampled_from(["arrived_later", "never_left", "lost"]))
    def explain(self, how: str) -> None:
        rows = TransferUnit.objects.select_related("transfer__source", "transfer__target")
        if (carried := rows.filter(state="missing").first()) is not None:
            place = self.far if how == "arrived_later" else None
            self.act(transfers_in.difference_explain, carried=carried, how=how, note="looked", place=place)

    @rule(lots=st.lists(st.sampled_from(sorted(LOTS)), max_size=4))
    def count_the_shelf(self, lots: list[str]) -> None:
        """Count, count again, and make the record what was seen: no less, no more."""
        take = self.act(taking.take_begin, place=self.world.shelf)
        if take is None:
            return
        self.act(taking.take_recount, take=take)
        component = self.world.component("tibial", "2")
        for lot in lots:
            self.act(taking.thing_see, take=take, component=component, lot=lot)
        for pile in Pile.objects.filter(place=self.world.shelf, quantity__gt=0):
            self.act(taking.pile_count, take=take, pile=pile, pieces=pile.quantity)
        self.act(
            _adjust, take=take, second=Signer(self.world.cast.quality)
        ) or self.act(take_end.take_agree, take=take) or self.act(taking.take_break_off, take=take)

    def act_or_nothing(self, do: Callable[..., Any], **what: Any) -> None:
        """An act that writes no event where there is nothing to do."""
        self.at += timedelta(minutes=7)
        try:
            with transaction.atomic():
                do(by=self.keeper, at=self.at, **what)
        except Refusal as refused:
            assert refused.sentence

    # The laws

    @invariant()
    def stock_is_the_sum_of_its_lines(self) -> None:
        assert stock_faults() == []

    @invariant()
    def no_unit_is_in_two_open_holds_and_none_is_held_that_is_not_on_hand(self) -> None:
        held = Hold.objects.filter(ended_at__isnull=True)
        assert not held.values("unit").annotate(n=Count("pk")).filter(n__gt=1).exists()
        assert not held.exclude(unit__state__in=Unit.ON_HAND).exists()
        assert not held.exclude(unit__site=self.world.site).exists()

    @invariant()
    def what_is_on_its_way_is_on_one_transfer_and_what_is_apart_says_why(self) -> None:
        on_the_way = set(Unit.objects.filter(state="transit").values_list("pk", flat=True))
        rows = TransferUnit.objects.filter(state__in=("sent", "missing"))
        assert on_the_way == set(rows.values_list("unit_id", flat=True))
        listed = TransferUnit.objects.filter(state__in=OPEN_STATES).values_list("unit_id", flat=True)
        assert len(listed) == len(set(listed))
        apart_now = set(Unit.objects.filter(state="quarantine").values_list("pk", flat=True))
        said = set(SetApart.objects.filter(ended_at__isnull=True).values_list("unit_id", flat=True))
        assert apart_now <= said

    @invariant()
    def no_pile_is_below_nothing(self) -> None:
        assert not Pile.objects.filter(quantity__lt=0).exists()


def _adjust(*, by: Person, at: datetime, take: Any, second: Signer) -> Any:
    return take_end.take_adjust(by=Signer(by), take=take, reason="not_found", second=second, at=at)


@pytest.mark.slow
def test_the_laws_of_stock_hold_whatever_is_done(world: World) -> None:
    Pile.objects.all().delete()
    world.sets_of_each()
    swabs = services.Goods(
        component=world.component("consumable", "swab-5"), owner=world.hospital, tenure=Tenure.OWNED,
        place=world.shelf, lot="S1", expires=TODAY + timedelta(days=300),
    )  # fmt: skip
    services.pile_receive(by=world.cast.stores, site=world.site, goods=swabs, pieces=100, at=NOW)
    Days.world = world
    Days.keeper = world.cast.keeper
    Days.far = Place.objects.create(site=world.far_site, code="F1", name="Far shelf", kind="shelf", walk=1)
    wanted = {"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)}
    Days.cases = [
        world.a_case(predictions=wanted, day=TODAY + timedelta(days=days)) for days in (1, 14)
    ]
    run_state_machine_as_test(
        Days,
        settings=settings(
            max_examples=60 if LONG else 8,
            stateful_step_count=60 if LONG else 30,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
