"""A pack is opened at the table: looked at first, taken down as it is, its real content counted."""

from datetime import timedelta
from typing import Any

import pytest

from cases.counts.bringing_in import Opened, pack_checks
from cases.counts.models_counts import CountLine, PackIn
from cases.counts.opening import trolley_take_over
from cases.picks.models import PackFor, PickLine, PickList
from tests.cases.counts.theatre import Theatre, a_theatre
from tests.world import NOW, TODAY, World
from trays.instruments.models import Pack, PackLine, PackState
from trays.ledger.models import Event, EventLine
from trays.stock.models import Unit
from trays.web.errors import Refusal

pytestmark = pytest.mark.django_db


@pytest.fixture
def theatre(world: World) -> Theatre:
    return a_theatre(world)


def a_list(theatre: Theatre, *packs: Pack) -> PickList:
    made = PickList.objects.create(
        number="PL-00001", case=theatre.case, made_at=NOW, made_by=theatre.scrub, in_room=0.9, wanted=0.9
    )
    for number, pack in enumerate(packs, start=1):
        PickLine.objects.create(
            pick_list=made, number=number, group="set", pack=pack, place=pack.place, picked_at=NOW,
            picked_by=theatre.scrub,
        )  # fmt: skip
    return made


def picked(theatre: Theatre, code: str = "KG-01", **more: Any) -> Pack:
    """A pack that was picked for the case."""
    pack = theatre.world.a_set("general", code, **more).packs.get()
    a_list(theatre, pack)
    return pack


def at_hand(reason: str = "opened_before_scan") -> Opened:
    return Opened(reason=reason, decided_by="S. Scrub")


def test_what_the_pack_really_holds_is_what_is_counted(theatre: Theatre) -> None:
    pack = picked(theatre)
    PackLine.objects.filter(pack=pack, line__number=2).update(present=3)
    made = theatre.bring_in(pack)
    lines = list(CountLine.objects.filter(pack_in=made).values_list("name", "klass", "note", "critical"))
    assert lines == [
        ("Cutting block", "instrument", "", True),
        ("Artery forceps", "instrument", "list 4, short 1", False),
    ]
    (shown,) = theatre.state().packs
    assert [theatre.state().line(pk).should_be for pk in shown.lines] == [2, 3]
    assert (shown.items, shown.short, shown.marks) == (5, "short 1", ())
    pack.refresh_from_db()
    assert pack.state == PackState.OPENED
    assert PackFor.objects.get(pack=pack, case=theatre.case).opened_at is not None


@pytest.mark.parametrize(
    ("spoil", "code", "mark"),
    [
        ({"state": PackState.PACKED}, "pack-not-released", "not_released"),
        ({"sterile_until": TODAY - timedelta(days=1)}, "pack-out-of-date", "out_of_date"),
        ({"short": (1,)}, "pack-lacks-critical", "lacks_critical"),
    ],
)
def test_what_speaks_against_a_pack_is_said_before_it_is_opened(
    theatre: Theatre, spoil: dict[str, Any], code: str, mark: str
) -> None:
    pack = picked(theatre, **spoil)
    with pytest.raises(Refusal) as refused:
        theatre.bring_in(pack)
    assert refused.value.code == code
    assert refused.value.facts == {"pack_id": pack.pk, "codes": [code]}
    assert "open already" in refused.value.next_step
    assert not PackIn.objects.exists()
    made = theatre.bring_in(pack, opened_already=at_hand())
    assert (made.marks, made.reason, made.decided_by) == ([mark], "opened_before_scan", "S. Scrub")
    pack.refresh_from_db()
    assert pack.state == PackState.OPENED
    assert CountLine.objects.filter(pack_in=made).exists()


def test_a_pack_in_date_until_today_is_in_date(theatre: Theatre) -> None:
    pack = picked(theatre, sterile_until=TODAY)
    assert all(check.ok for check in pack_checks(case=theatre.case, pack=pack, at=NOW))


def test_a_pack_of_another_case_is_told_and_taken_down_all_the_same(theatre: Theatre) -> None:
    pack = theatre.world.a_set("general", "KG-02").packs.get()
    with pytest.raises(Refusal, match="pack-not-for-this-case"):
        theatre.bring_in(pack)
    made = theatre.bring_in(pack, opened_already=at_hand("nothing_else"))
    assert made.marks == ["not_for_this_case"]
    assert PackFor.objects.get(pack=pack).case_id == theatre.case.pk


def test_why_and_who_are_said_before_it_is_taken_down(theatre: Theatre) -> None:
    pack = theatre.world.a_set("general", "KG-02").packs.get()
    for opened in (Opened("", "S. Scrub"), Opened("emergency", "  "), Opened("no such reason", "S. Scrub")):
        with pytest.raises(Refusal, match="opened-unsaid"):
            theatre.bring_in(pack, opened_already=opened)


def test_what_cannot_be_opened_by_the_record_is_taken_down_too(theatre: Theatre) -> None:
    """Condemned, and there it is on the table: its instruments are counted like any."""
    pack = theatre.world.a_set("general", "KG-02", state=PackState.CONDEMNED).packs.get()
    made = theatre.bring_in(pack, opened_already=at_hand("record_is_wrong"))
    assert set(made.marks) == {"not_released", "not_for_this_case", "not_in_round"}
    pack.refresh_from_db()
    assert pack.state == PackState.CONDEMNED
    assert CountLine.objects.filter(pack_in=made).count() == 2


def test_one_that_was_opened_for_another_case_is_taken_down_too(theatre: Theatre, world: World) -> None:
    pack = picked(theatre)
    other = Theatre(world, world.a_case(), now=theatre.now)
    other.open()
    other.bring_in(pack, opened_already=at_hand("nothing_else"))
    made = theatre.bring_in(pack, opened_already=at_hand("record_is_wrong"))
    assert {"not_released", "not_in_round"} <= set(made.marks)


def test_the_indicator_is_asked_for_and_what_was_seen_is_kept(theatre: Theatre) -> None:
    pack = picked(theatre)
    with pytest.raises(Refusal, match="indicator-unsaid"):
        theatre.bring_in(pack, indicator="")
    assert theatre.bring_in(pack, indicator="failed").marks == ["indicator_failed"]


def test_a_double_scan_adds_nothing(theatre: Theatre) -> None:
    pack = picked(theatre)
    theatre.bring_in(pack)
    with pytest.raises(Refusal, match="pack-in-already"):
        theatre.bring_in(pack)
    assert PackIn.objects.count() == 1


def test_one_scan_takes_over_what_picking_checked(theatre: Theatre) -> None:
    world = theatre.world
    pack = world.a_set("general", "KG-01").packs.get()
    old = world.a_set("general", "KG-02", sterile_until=TODAY - timedelta(days=1)).packs.get()
    (unit,) = world.unit(world.component("tibial", "2"), state=Unit.State.PICKED)
    the_list = a_list(theatre, pack, old)
    PickLine.objects.create(
        pick_list=the_list, number=3, group="likely", unit=unit, place=unit.place, picked_at=NOW,
        picked_by=theatre.scrub,
    )  # fmt: skip
    trolley_take_over(**theatre.said(pick_list=the_list))
    for one in (pack, old, unit):
        one.refresh_from_db()
    # What may not leave stays as it is and is refused when it is scanned.
    assert (pack.state, pack.place_id) == (PackState.ISSUED, world.theatre.pk)
    assert old.state == PackState.STORED
    assert unit.state == Unit.State.PICKED
    assert theatre.state().trolley_at == theatre.now
    assert Event.objects.order_by("-pk")[0].verb == "trolley.take_over"
    with pytest.raises(Refusal, match="taken-over-already"):
        trolley_take_over(**theatre.said(pick_list=the_list))


def test_the_trolley_of_another_case_is_not_taken_over(theatre: Theatre) -> None:
    other = Theatre(theatre.world, theatre.world.a_case())
    with pytest.raises(Refusal, match="another-case"):
        trolley_take_over(**theatre.said(pick_list=a_list(other)))


def test_bringing_in_is_one_event_that_says_what_moved(theatre: Theatre) -> None:
    pack = picked(theatre)
    before = Event.objects.count()
    theatre.bring_in(pack)
    assert Event.objects.count() == before + 1
    event = Event.objects.order_by("-pk")[0]
    said = list(EventLine.objects.filter(event=event).values_list("subject", "before", "after"))
    assert ("pack", "stored", "opened") in said
    assert ("pack_in", "", "brought_in") in said
    assert said.count(("count_line", "", "to_count")) == 2
