"""Each act that changes something writes exactly one event, and no word in it tells whose case it was.

The acts are found by walking the rooms: a new one that is not tried fails. Those of a pack's round are tried
beside sterile services' own tests.
"""

import io
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest

from cases.bookings import services as bookings
from cases.bookings.kinds import PredictedSize
from cases.bookings.models import CaseSlot
from cases.counts.services import count_sheets_make
from cases.desks.importing import import_apply, import_check, kind_named
from cases.picks import leaving, ticking
from cases.picks.models import PickList
from cases.picks.not_this import Goods as PickedGoods
from cases.picks.services import pick_list_make
from cases.picks.withdraw import case_shift, case_withdraw
from cases.reservations import hold, sets
from tests.trays.ledger import acts_theatre
from tests.trays.ledger.acts import left_out, verbs, writes_one_event
from tests.world import NOW, TODAY, World
from trays.instruments.models import InstrumentSet, Pack
from trays.labels.models import LabelPaper
from trays.labels.services import labels_print, paper_save
from trays.ledger.models import Event, EventLine
from trays.parties.models import Tenure
from trays.places.models import Place
from trays.scanners.services import Settings, workstation_set_up
from trays.stock import services as stock
from trays.stock.models import Pile, Unit
from trays.stock.services import Goods
from trays.stock.verify import stock_faults

REFERENCE = "LK-REFERENCE-9"
LATER = TODAY + timedelta(days=3)
# What takes a moment and a person and yet is no whole act at this table.
NO_WHOLE_ACT = {
    # The record itself, and halves that run inside an act.
    "record", "case_enter", "reorder_within", "place_holds", "place_set_hold", "set_holds_follow",
    # The staging of a file is not yet the record's: only what is applied is.
    "begin", "import_begin", "import_check", "import_set_aside",
    # A dry run is taken back; one left to the worker is applied by `import_apply`.
    "import_try", "import_apply_later", "import_apply_waiting",
    # Many acts one after the other; a scan that does the act of its page; a look; paper.
    "apply", "folder_import", "lists_top_up", "acted", "fortnight", "papers_write",
    # What did not happen is kept beside the record.
    "scan_refuse",
    *acts_theatre.THEATRE_HALVES,
}  # fmt: skip


class Scene:
    """A case tomorrow with all it needs, and the people who act on it."""

    def __init__(self, world: World) -> None:
        self.world = world
        goods = Goods(
            component=world.component("tibial", "2"), owner=world.hospital, tenure=Tenure.OWNED,
            place=world.shelf, lot="R1", expires=LATER + timedelta(days=300),
        )  # fmt: skip
        by = world.cast.stores
        # Through the services, so that stock is the sum of its lines from the first unit on.
        for key, component in world.components.items():
            if key[0] != "consumable":
                each = Goods(
                    component=component, owner=world.hospital, tenure=Tenure.OWNED, place=world.shelf,
                    lot=f"L{component.pk}", expires=LATER + timedelta(days=300),
                )  # fmt: skip
                stock.unit_receive(by=by, site=world.site, goods=each, count=2, at=NOW)
        Pile.objects.all().delete()
        self.goods = goods
        self.swabs = Goods(
            component=world.component("consumable", "swab-5"), owner=world.hospital, tenure=Tenure.OWNED,
            place=world.shelf, lot="S9", expires=LATER + timedelta(days=300),
        )  # fmt: skip
        stock.pile_receive(by=by, site=world.site, goods=self.swabs, pieces=100, at=NOW)
        world.sets_of_each()
        self.case = world.a_case(
            predictions={"femoral": (1, 2), "tibial": (1, 1), "patellar": (1, 1)}, reference=REFERENCE
        )
        self.by = world.cast.coordinator
        self.picker = world.cast.stores
        self.issuer = world.cast.circulating
        self.list = self.case.list

    def unit(self, number: int = 0) -> Unit:
        return Unit.objects.filter(component=self.world.component("tibial", "2")).order_by("pk")[number]

    def set(self) -> InstrumentSet:
        return InstrumentSet.objects.get(code="general-01")

    def slot(self) -> CaseSlot:
        return CaseSlot.objects.get(construct__case=self.case, plan_slot=self.world.slots["femoral"])

    def pick_list(self) -> PickList:
        return PickList.objects.get(case=self.case, replaced_at__isnull=True)

    def pack(self) -> Pack:
        return Pack.objects.select_related("set__site").get(set=self.set(), tray=1)

    def wanted_goods(self) -> PickedGoods:
        line = self.pick_list().lines.filter(unit__isnull=False).order_by("number")[0]
        return PickedGoods(line.component, line.unit.lot)

    def pile_line(self) -> int:
        return int(self.pick_list().lines.filter(pile__isnull=False).order_by("number")[0].number)

    def imported(self) -> Any:
        raw = (
            b"component,lot,quantity,owner,tenure,site,place,expires,received\n"
            b"tib-2-x-none,Z1,3,LOC,owned,larkmere,S1,2030-01-31,2026-01-02 10:00\n"
        )
        kind = kind_named("units")
        by = self.world.cast.stores
        run = import_check(kind=kind, file=io.BytesIO(raw), file_name="units.csv", by=by, at=NOW)
        return import_apply(run=run, by=by, at=NOW)


def _booked(s: Scene) -> Any:
    return bookings.case_book(
        by=s.by, theatre=s.world.second_theatre, day=LATER, procedure=s.world.procedure,
        surgeon=s.world.cast.surgeon, reference=f"{REFERENCE}-B", sides=["left", "right"], at=NOW,
    )  # fmt: skip


def _shelf(s: Scene) -> Place:
    return Place.objects.create(site=s.world.site, code="S2", name="Shelf 2", kind="shelf", walk=11)


PREDICTED = PredictedSize(1, 2, "ct_template", 0.9, None)
# What each act is called with, after what must have been done before it.
ACTS: dict[str, tuple[Callable[[Scene], Any], tuple[str, ...]]] = {
    "list_open": (
        lambda s: bookings.list_open(by=s.by, theatre=s.world.theatre, day=LATER, session="evening", at=NOW),
        (),
    ),
    "case_book": (_booked, ()),
    "case_change": (
        lambda s: bookings.case_change(by=s.by, case=s.case, at=NOW, minutes=95, reference=f"{REFERENCE}-C"),
        (),
    ),
    "prediction_add": (
        lambda s: bookings.prediction_add(by=s.by, case=s.case, predictions={s.slot().pk: PREDICTED}, at=NOW),
        (),
    ),
    "list_reorder": (
        lambda s: bookings.list_reorder(
            by=s.by,
            theatre_list=s.list,
            order=list(s.list.cases.order_by("-position").values_list("pk", flat=True)),
            at=NOW,
        ),
        ("another_case",),
    ),
    "case_shift": (
        lambda s: case_shift(
            by=s.by, case=s.case, theatre=s.world.second_theatre, day=LATER, session="all_day", at=NOW
        ),
        ("set_hold", "units_hold"),
    ),
    "case_withdraw": (
        lambda s: case_withdraw(by=s.by, case=s.case, reason="no_bed", at=NOW),
        ("pick_list_make",),
    ),
    "pick_list_make": (lambda s: pick_list_make(by=s.by, case=s.case, at=NOW), ()),
    "packs_pick": (
        lambda s: ticking.packs_pick(by=s.picker, pick_list=s.pick_list(), packs=[s.pack()], at=NOW),
        ("pick_list_make",),
    ),
    "goods_pick": (
        lambda s: ticking.goods_pick(by=s.picker, pick_list=s.pick_list(), goods=s.wanted_goods(), at=NOW),
        ("pick_list_make",),
    ),
    "pile_pick": (
        lambda s: ticking.pile_pick(by=s.picker, pick_list=s.pick_list(), number=s.pile_line(), at=NOW),
        ("pick_list_make",),
    ),
    "pick_undo": (
        lambda s: ticking.pick_undo(by=s.picker, pick_list=s.pick_list(), at=NOW), ("packs_pick",)
    ),
    "packs_issue_for": (
        lambda s: leaving.packs_issue_for(by=s.issuer, pick_list=s.pick_list(), at=NOW), ("packs_pick",)
    ),
    "packs_open_for": (
        lambda s: leaving.packs_open_for(by=s.issuer, case=s.case, packs=[s.pack()], at=NOW),
        ("packs_issue_for",),
    ),
    "packs_return_from": (
        lambda s: leaving.packs_return_from(
            by=s.world.cast.technician, case=s.case, packs=[s.pack()], place=s.world.sterile_store, at=NOW
        ),
        ("packs_issue_for",),
    ),
    "count_sheets_make": (lambda s: count_sheets_make(by=s.by, case=s.case, at=NOW), ("pick_list_make",)),
    "units_hold": (lambda s: hold.units_hold(by=s.by, units=[s.unit()], case=s.case, at=NOW), ()),
    "units_release": (lambda s: hold.units_release(by=s.by, units=[s.unit()], at=NOW), ("units_hold",)),
    "unit_swap": (
        lambda s: hold.unit_swap(by=s.by, unit=s.unit(), other=s.unit(1), at=NOW), ("units_hold",)
    ),
    "set_hold": (lambda s: sets.set_hold(by=s.by, instrument_set=s.set(), case=s.case, at=NOW), ()),
    "set_release": (
        lambda s: sets.set_release(by=s.by, instrument_set=s.set(), case=s.case, at=NOW), ("set_hold",)
    ),
    "unit_receive": (
        lambda s: stock.unit_receive(
            by=s.world.cast.stores, site=s.world.site, goods=s.goods, count=5, at=NOW
        ),
        (),
    ),
    "pile_receive": (
        lambda s: stock.pile_receive(
            by=s.world.cast.stores, site=s.world.site, goods=s.swabs, pieces=7, at=NOW
        ),
        (),
    ),
    "unit_move": (
        lambda s: stock.unit_move(
            by=s.world.cast.stores, unit=s.unit(), place=_shelf(s), bin="2-1", at=NOW
        ),
        (),
    ),
    "labels_print": (
        lambda s: labels_print(
            by=s.world.cast.stores, kind="unit", ids=[s.unit().pk], stock="roll-300", at=NOW
        ),
        ("unread",),
    ),
    "paper_save": (
        lambda s: paper_save(
            by=s.world.cast.stores,
            paper=LabelPaper(site=s.world.site, code="own", name="Own", label_width=80, label_height=40),
            at=NOW,
        ),
        (),
    ),
    "workstation_set_up": (
        lambda s: workstation_set_up(
            by=s.by, site=s.world.site, name="Left PC", place=s.world.shelf, settings=Settings(), at=NOW
        ),
        (),
    ),
    "import_apply": (lambda s: s.imported(), ()),
    **acts_theatre.THEATRE_ACTS,
}  # fmt: skip


def ready(scene: Scene, before: tuple[str, ...]) -> None:
    for name in before:
        if name == "another_case":
            scene.world.a_case(hour=12)
        elif name == "unread":
            Unit.objects.filter(pk=scene.unit().pk).update(code_reads=False)
        else:
            act, earlier = acts_theatre.READY.get(name) or ACTS[name]
            ready(scene, earlier)
            act(scene)


@pytest.fixture
def scene(world: World) -> Scene:
    return Scene(world)


def test_every_act_is_tried_here_or_at_the_departments_table() -> None:
    names = verbs(of_the_round=False)
    # Those of stores are tried at their own table too.
    tried = set(ACTS) - {"unit_receive", "pile_receive", "unit_move"}
    assert left_out(names, tried=tried, halves=NO_WHOLE_ACT) == ([], set())


@pytest.mark.parametrize("name", ACTS)
def test_an_act_writes_one_event_that_names_nobody_and_stock_stays_the_sum_of_its_lines(
    name: str, scene: Scene
) -> None:
    act, before = ACTS[name]
    ready(scene, before)
    assert stock_faults() == []
    people = [person.name for person in scene.world.cast.by_role().values()]
    words = (REFERENCE, f"{REFERENCE}-B", f"{REFERENCE}-C", *people)
    writes_one_event(lambda: act(scene), nameless=words)
    assert stock_faults() == []


@pytest.mark.parametrize(
    "name", ["unit_receive", "pile_receive", "unit_move", "import_apply", "pick_list_make"]
)
def test_stock_moves_as_the_lines_say(name: str, scene: Scene) -> None:
    """Receipts add what they say; picking and moving change no quantity."""
    added = {"unit_receive": (5, 0), "pile_receive": (0, 7), "import_apply": (3, 0)}.get(name, (0, 0))

    def counts() -> tuple[int, int]:
        return Unit.objects.count(), sum(Pile.objects.values_list("quantity", flat=True))

    before = counts()
    ACTS[name][0](scene)
    assert tuple(now - then for now, then in zip(counts(), before, strict=True)) == added
    lines = EventLine.objects.filter(event=Event.objects.order_by("-pk")[0])
    assert sum(line.quantity for line in lines) == sum(added)
    assert stock_faults() == []


def test_an_act_sent_again_with_its_key_writes_no_second_event(scene: Scene) -> None:
    key = uuid4()
    for _time in range(2):
        pick_list_make(by=scene.by, case=scene.case, at=NOW, client_key=key)
    assert Event.objects.filter(client_key=key).count() == 1


def test_what_is_refused_leaves_no_event(scene: Scene) -> None:
    count = Event.objects.count()
    for refused in (
        lambda: bookings.case_change(by=scene.world.cast.stores, case=scene.case, at=NOW, minutes=95),
        lambda: bookings.case_change(by=scene.by, case=scene.case, at=NOW, minutes=0),
        lambda: stock.unit_move(
            by=scene.world.cast.stores,
            unit=scene.unit(),
            place=Place.objects.create(site=scene.world.far_site, code="X", name="X", kind="shelf"),
            at=NOW,
        ),
        lambda: count_sheets_make(by=scene.by, case=scene.case, at=NOW),
    ):
        with pytest.raises(Exception, match=":"):
            refused()
    assert Event.objects.count() == count
