"""Numbers are entered, never changed; what comes on belongs to every later stage; two devices may differ."""

from uuid import uuid4

import pytest

from cases.counts import adding, counting, staging
from cases.counts.models_counts import Added, Entry, Stage
from tests.cases.counts.theatre import Theatre, a_theatre
from tests.world import World
from trays.ledger.models import Event
from trays.web.errors import NotAllowed, Refusal

pytestmark = pytest.mark.django_db
ONE, TWO = uuid4(), uuid4()


@pytest.fixture
def theatre(world: World) -> Theatre:
    made = a_theatre(world)
    made.begin("First")
    return made


def board(theatre: Theatre, klass: str) -> tuple[int, int, str]:
    (row,) = (row for row in theatre.state().board if row.klass == klass)
    return row.should_be, row.counted, row.said


def test_what_comes_on_during_the_first_count_is_counted_as_it_comes(theatre: Theatre) -> None:
    theatre.add("Gauze", 5)
    theatre.add("Gauze", 5)
    entries = Entry.objects.filter(line=theatre.line("Gauze"))
    assert list(entries.values_list("counted", "expected")) == [(5, 5), (10, 10)]
    assert theatre.state().line(theatre.line("Gauze").pk).said == "equal"


def test_what_comes_on_later_is_expected_at_every_later_stage(theatre: Theatre) -> None:
    theatre.add("Gauze", 5)
    theatre.count_right("First")
    theatre.close("First")
    theatre.add("Gauze", 10)
    theatre.begin("Cavity")
    gauze = theatre.state().line(theatre.line("Gauze").pk)
    assert (gauze.should_be, gauze.additions, gauze.said) == (15, (5, 10), "to count")
    theatre.count("Cavity", "Gauze", 5)
    assert theatre.state().line(gauze.pk).said == "10 fewer"


def test_what_comes_on_after_the_number_asks_for_a_new_number(theatre: Theatre) -> None:
    theatre.whole_stage("First") if theatre.stage("First").state == "waiting" else None
    theatre.add("Gauze", 5)
    theatre.count_right("First")
    theatre.close("First")
    theatre.begin("Cavity")
    theatre.count_right("Cavity")
    theatre.add("Gauze", 5)
    with pytest.raises(Refusal) as refused:
        theatre.close("Cavity")
    assert refused.value.facts["lines"] == [theatre.line("Gauze").pk]
    theatre.count("Cavity", "Gauze", 10)
    theatre.close("Cavity")


def test_more_than_expected_blocks_as_fewer_does(theatre: Theatre) -> None:
    theatre.add("Blade", 2)
    theatre.count_right("First")
    for counted, said in ((1, "1 fewer"), (3, "1 more")):
        theatre.count("First", "Blade", counted)
        assert theatre.state().line(theatre.line("Blade").pk).said == said
        with pytest.raises(Refusal, match="not-balanced"):
            theatre.close("First")
    theatre.count("First", "Blade", 2)
    theatre.close("First")


def test_one_more_here_never_hides_one_fewer_there(theatre: Theatre) -> None:
    theatre.add("Gauze", 5)
    theatre.add("Wide gauze", 5)
    theatre.count("First", "Gauze", 4)
    theatre.count("First", "Wide gauze", 6)
    theatre.count("First", "Swabs", 0)
    assert board(theatre, "soft") == (10, 10, "1 fewer, 1 more")


def test_a_packet_with_another_number_is_taken_out_whole(theatre: Theatre) -> None:
    line = theatre.line("Gauze").pk
    with pytest.raises(Refusal, match="wrong-number"):
        theatre.add("Gauze", 4)
    adding.packet_wrong(**theatre.said(line=line, found=4, lot="L1"))
    (shown,) = theatre.state().wrong_packets
    assert (shown.found, shown.packed_in) == (4, 5)
    assert theatre.state().line(line).should_be == 0
    with pytest.raises(Refusal, match="not-wrong"):
        adding.packet_wrong(**theatre.said(line=line, found=5))
    # It was on the field before anybody looked: a fact.
    assert theatre.add("Gauze", 4, as_found=True).odd


def test_a_slip_is_taken_back_by_a_further_row(theatre: Theatre) -> None:
    made = theatre.add("Gauze", 5)
    with pytest.raises(Refusal, match="reason-missing"):
        adding.added_correct(**theatre.said(added=made.pk, reason=""))
    adding.added_correct(**theatre.said(added=made.pk, reason="slip"))
    line = theatre.state().line(theatre.line("Gauze").pk)
    assert (line.should_be, line.additions, line.said) == (0, (5, -5), "equal")
    with pytest.raises(Refusal, match="taken-back-already"):
        adding.added_correct(**theatre.said(added=made.pk, reason="slip"))
    assert Added.objects.count() == 2


def test_packs_are_accepted_whole_and_what_was_entered_stays(theatre: Theatre, world: World) -> None:
    from cases.counts.bringing_in import Opened

    theatre.bring_in(world.a_set("general", "KG-01"), opened_already=Opened("nothing_else", "S. Scrub"))
    theatre.count("First", "Artery forceps", 3)
    assert [entry.line.name for entry in theatre.accept("First")] == ["Cutting block"]
    (pack,) = theatre.state().packs
    assert (pack.verdict, theatre.state().line(pack.lines[1]).said) == ("fewer", "1 fewer")
    with pytest.raises(Refusal, match="nothing-to-accept"):
        theatre.accept("First")


def test_a_class_is_counted_again_and_earlier_numbers_stay_on_file(theatre: Theatre) -> None:
    theatre.add("Gauze", 5)
    stage = theatre.stage("First").pk
    counting.stage_recount(**theatre.said(stage=stage, klass="soft", reason="interrupted"))
    line = theatre.state().line(theatre.line("Gauze").pk)
    assert (line.said, dict(line.entries), len(line.newest)) == ("to count", {}, 1)
    theatre.count("First", "Gauze", 5)
    assert Entry.objects.filter(line=line.pk).count() == 2


def test_an_interruption_calls_the_class_under_way_again(theatre: Theatre) -> None:
    theatre.add("Gauze", 5)
    staging.count_pause(**theatre.said(klass="soft", reason="bleeding"))
    state = theatre.state()
    assert state.paused is not None and state.paused.klass == "soft"
    with pytest.raises(Refusal, match="count-paused"):
        theatre.close("First")
    staging.count_resume(**theatre.said())
    assert theatre.state().line(theatre.line("Gauze").pk).said == "to count"


def test_fragments_of_a_broken_instrument_are_accounted_for(theatre: Theatre, world: World) -> None:
    theatre.add("Pin", 4)
    made = adding.fragment_add(**theatre.said(broken=theatre.line("Pin").pk, pieces=2))
    line = theatre.state().line(made.pk)
    assert (line.klass, line.should_be, line.broken) == ("fragment", 2, theatre.line("Pin").pk)
    assert made.name == "Fragments of Pin"


def test_what_is_left_in_on_purpose_is_no_longer_looked_for(theatre: Theatre) -> None:
    theatre.add("Gauze", 5)
    theatre.count_right("First")
    theatre.close("First")
    adding.left_in(
        **theatre.said(line=theatre.line("Gauze").pk, quantity=1, plan="Out on day two", decided_by="Ms S.")
    )
    theatre.begin("Cavity")
    assert theatre.state().line(theatre.line("Gauze").pk).should_be == 4
    assert theatre.state().left_in[0].plan == "Out on day two"
    with pytest.raises(Refusal, match="more-than-came"):
        adding.left_in(
            **theatre.said(line=theatre.line("Gauze").pk, quantity=5, plan="Out", decided_by="Ms S.")
        )


def test_an_unplanned_kind_gets_its_own_line_once(theatre: Theatre) -> None:
    component = theatre.world.component("consumable", "swab-5")
    again = adding.line_add(
        **theatre.said(klass="soft", name="", quantity=5, component=component)
    )
    assert again.pk == theatre.line("Swabs").pk
    loose = adding.line_add(**theatre.said(klass="small", name="Vessel loop", quantity=2))
    assert theatre.state().line(loose.pk).should_be == 2
    with pytest.raises(Refusal, match="nameless"):
        adding.line_add(**theatre.said(klass="small", name=" ", quantity=2))


# Two devices


def test_two_devices_with_the_same_number_agree(theatre: Theatre) -> None:
    theatre.count("First", "Gauze", 5, device=ONE, seen=None)
    assert not theatre.count("First", "Gauze", 5, device=TWO, seen=None).conflict
    assert theatre.state().conflicts == ()


def test_two_devices_with_two_numbers_are_shown_and_counted_again(theatre: Theatre) -> None:
    theatre.add("Gauze", 10)
    first = theatre.count("First", "Gauze", 10, device=ONE)
    second = theatre.count("First", "Gauze", 9, device=TWO, seen=None)
    assert (first.conflict, second.conflict) == (False, True)
    (rival,) = theatre.state().conflicts
    assert (rival.counted, rival.other) == (9, 10)
    assert theatre.state().line(rival.line).said == "two numbers: count again"
    # Who does not know the newest number settles nothing, even by the number that is right.
    assert theatre.count("First", "Gauze", 10, device=ONE, seen=first.pk).conflict
    newest = Entry.objects.order_by("-pk")[0].pk
    assert not theatre.count("First", "Gauze", 10, device=ONE, seen=newest).conflict
    assert theatre.state().conflicts == ()
    assert Entry.objects.filter(line=rival.line).count() == 5


def test_a_device_may_go_on_by_itself_without_hearing_from_the_server(theatre: Theatre) -> None:
    for counted in (5, 10, 15):
        assert not theatre.count("First", "Gauze", counted, device=ONE, seen=None).conflict


def test_a_number_from_before_the_class_was_called_again_does_not_count_for_it(theatre: Theatre) -> None:
    theatre.count("First", "Gauze", 0, device=ONE)
    stage = theatre.stage("First").pk
    counting.stage_recount(**theatre.said(stage=stage, klass="soft", device=ONE))
    assert theatre.count("First", "Gauze", 0, device=TWO, seen=None).conflict


def test_a_number_that_comes_after_the_close_is_kept_and_chased(theatre: Theatre) -> None:
    theatre.add("Gauze", 5)
    theatre.count_right("First")
    theatre.close("First")
    late = theatre.count("First", "Gauze", 4, device=TWO, seen=None)
    assert late.after_close
    assert [gap.code for gap in theatre.state().gaps if gap.line] == ["late-entry"]
    assert theatre.state().stage(theatre.stage("First").pk).balanced
    theatre.whole_stage("Cavity")
    assert "late-entry" not in [gap.code for gap in theatre.state().gaps]


def test_a_pack_accepted_by_one_device_over_the_other_number_of_another_is_a_conflict(
    theatre: Theatre, world: World
) -> None:
    from cases.counts.bringing_in import Opened

    made = theatre.bring_in(world.a_set("general", "KG-01"), opened_already=Opened("other", "S. Scrub"))
    theatre.count("First", "Artery forceps", 3, device=ONE)
    entries = counting.packs_accept(
        **theatre.said(stage=theatre.stage("First").pk, packs=[made.pk], device=TWO, seen=0)
    )
    assert {entry.line.name: entry.conflict for entry in entries} == {
        "Cutting block": False, "Artery forceps": True,
    }  # fmt: skip


# Once


def test_the_same_key_enters_once_and_gives_the_same_answer(theatre: Theatre) -> None:
    once = uuid4()
    first = theatre.count("First", "Gauze", 3, client_key=once)
    events = Event.objects.count()
    assert theatre.count("First", "Gauze", 3, client_key=once) == first
    assert (Entry.objects.count(), Event.objects.count()) == (1, events)


def test_a_row_is_named_by_the_key_of_the_act_that_made_it(theatre: Theatre) -> None:
    """A device without a network adds a line and counts it before it has heard the line's number."""
    made, entered = uuid4(), uuid4()
    line = adding.line_add(
        **theatre.said(klass="small", name="Loop", quantity=1, client_key=made, device=ONE)
    )
    entry = counting.count_enter(
        **theatre.said(
            line=made, stage=theatre.stage("First").pk, counted=1, client_key=entered, device=ONE
        )
    )
    assert entry.line_id == line.pk


def test_a_key_of_another_case_opens_nothing(theatre: Theatre, world: World) -> None:
    once = uuid4()
    theatre.count("First", "Gauze", 3, client_key=once)
    other = Theatre(world, world.a_case())
    other.open()
    other.begin("First")
    with pytest.raises(Refusal, match="key-used-before"):
        other.count("First", "Gauze", 3, client_key=once)


@pytest.mark.parametrize("counted", [-1, 10_000])
def test_what_cannot_be_a_number_is_told(theatre: Theatre, counted: int) -> None:
    with pytest.raises(Refusal, match="not-a-count"):
        theatre.count("First", "Gauze", counted)
    assert not Entry.objects.exists()


def test_only_those_who_count_may_enter(theatre: Theatre) -> None:
    with pytest.raises(NotAllowed):
        counting.count_enter(
            by=theatre.world.cast.stores, case=theatre.case, line=theatre.line("Gauze").pk,
            stage=theatre.stage("First").pk, counted=1, at=theatre.now,
        )  # fmt: skip
    assert Stage.objects.filter(state="open").count() == 1
