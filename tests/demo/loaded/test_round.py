"""The demo opens on sterile services at work: each stage has its packs, and nothing lies in the future."""

from datetime import timedelta

from cases.bookings.models import Case
from cases.desks.demo import sign_ins, world_ready
from cases.desks.demo_round import PIN
from cases.readiness.assess import horizon
from cases.readiness.day import day_board
from cases.readiness.day_order import propose
from tests.demo.loaded.conftest import LOADED_AT
from trays.instruments.models import Pack, PackState
from trays.ledger.models import Event
from trays.ledger.queries import verify
from trays.parties.models import Site
from trays.processing import policies
from trays.processing.models import Assembly, Move, Shortfall
from trays.processing.models_machines import Indicator, Machine, Run, RunLog
from trays.processing.times import STAGES, stage_laws
from trays.staff.models import Person
from trays.staff.signing import signer


def stands(code):
    return set(Pack.objects.filter(set__code=code).values_list("state", flat=True))


def runs_now(state):
    return sorted(Run.objects.filter(state=state).values_list("machine__code", flat=True))


def test_every_stage_has_its_packs(loaded):
    state = PackState
    found = {code: stands(code) for code in ("PW-06", "HL-02", "HG-03", "TS-02", "FS-02", "HL-03", "HC-03")}
    assert found == {
        "PW-06": {state.USED}, "HL-02": {state.RECEIVED}, "HG-03": {state.RECEIVED}, "TS-02": {state.PACKED},
        "FS-02": {state.IN_LOAD}, "HL-03": {state.IN_LOAD}, "HC-03": {state.RELEASED},
    }  # fmt: skip
    assert runs_now("running") == ["S1", "W1"]
    assert runs_now("ended") == ["S1"]
    assert Assembly.objects.filter(closed_at__isnull=True).count() == 1
    assert Shortfall.objects.filter(ended_at__isnull=True).count() == 2


def test_an_early_release_waits_for_its_indicator_and_one_machine_owes_a_test(loaded):
    outstanding = Indicator.objects.get(result="outstanding")
    assert outstanding.run.early_reason
    assert outstanding.run.early_with != outstanding.run.decided_by
    machines = list(Machine.objects.filter(site__code="larkmere"))
    owed = policies.tests_owed(machines=machines, day=LOADED_AT.date())
    assert {m.code: [rule.code for rule in owed[m.pk]] for m in machines if owed[m.pk]} == {"S3": ["leak"]}
    waiting = RunLog.objects.get(run__state="ended")
    assert waiting.hold_seconds >= 180
    assert waiting.f0 >= 50


def test_stage_times_are_learnt_from_thirty_steps_and_more(loaded):
    laws = stage_laws(site=Site.objects.get(code="larkmere"), at=LOADED_AT)
    # Nobody in the demo says when a set has left the table: the site's reckoning stands for it.
    assert all(laws[state].seen >= 30 for state in STAGES if state != PackState.USED)
    assert all(0 < laws[state].quantile(0.5) < 240 for state in STAGES)


def test_no_case_of_the_first_two_days_lacks_a_set_for_it(loaded):
    answer = horizon(site=Site.objects.get(code="larkmere"), at=LOADED_AT)
    soon = Case.objects.filter(list__day__lte=LOADED_AT.date() + timedelta(days=1))
    soon_refs = set(soon.values_list("reference", flat=True))
    words = {v.on_site.word for v in answer.verdicts.values() if v.reference in soon_refs}
    assert words == {"covered"}


def test_the_record_holds_and_a_second_start_acts_nothing_out(loaded):
    assert verify() == []
    before = Event.objects.count(), Move.objects.count()
    assert world_ready(at=LOADED_AT + timedelta(hours=2)) == ""
    assert (Event.objects.count(), Move.objects.count()) == before


def test_everybody_can_sign_with_the_demos_pin_and_keeps_one_of_their_own(loaded):
    assert not Person.objects.filter(pin="").exists()
    assert signer(person=Person.objects.get(username="garrowby"), pin=PIN).person.username == "garrowby"
    Person.objects.filter(username="garrowby").update(pin="another")
    sign_ins(lambda: "willow-comet-321")
    assert Person.objects.get(username="garrowby").pin == "another"


def test_at_the_small_site_a_hip_waits_and_another_order_lets_none_wait(loaded):
    case = Case.objects.get(reference="FN-0312")
    board = day_board(site=case.site, day=case.list.day, at=LOADED_AT)
    assert {kind.waiting.line.use.case.reference for kind in board.waiting} >= {"FN-0312"}
    (changed,) = propose(board).lists
    assert [line.case.reference for line in changed.lines] == ["FN-0311", "FN-0313", "FN-0312"]
