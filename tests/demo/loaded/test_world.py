"""The demo's world: its files are made the same each time, load without a fault, and are topped up once."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from django.core.management import call_command

from cases.bookings.models import Case, TheatreList
from cases.counts.services import count_sheets_make
from cases.desks.demo import lists_top_up, sign_ins, world_ready
from cases.forecasts.models import Outcome
from cases.picks.services import pick_list_make
from cases.picks.withdraw import case_withdraw
from fixtures import make
from tests.demo.loaded.conftest import LOADED_AT
from trays.catalogue.models import PackLevel
from trays.exchange.columns import workday
from trays.identifiers.checkdigits import holds_mod10
from trays.instruments.models import InstrumentSet, Pack, SetDesign
from trays.ledger.models import Event
from trays.ledger.queries import verify
from trays.parties.models import Site
from trays.places.models import Place
from trays.staff.models import Person, Role
from trays.stock.models import Pile, Unit
from trays.stock.services import unit_move
from trays.stock.verify import stock_faults

SATURDAY = datetime(2026, 12, 5, 11, 0, tzinfo=UTC)


def test_the_files_in_the_project_are_those_that_the_maker_makes(tmp_path):
    make.write(tmp_path)
    made = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    kept = {path.name: path.read_bytes() for path in Path(make.FOLDER).iterdir()}
    assert made == kept


def counts():
    models = (Case, TheatreList, Unit, Pile, InstrumentSet, Pack, Person, Role, Outcome)
    return {model.__name__: model.objects.count() for model in models}


def test_the_world_is_as_large_as_it_is_said_to_be(loaded):
    found = counts()
    assert 55 <= found["Case"] <= 70
    assert 1_400 <= found["Unit"] <= 1_600
    assert 75 <= found["Pile"] <= 90
    # Two of them came on loan.
    assert 42 <= found["InstrumentSet"] <= 52
    assert SetDesign.objects.count() == 12
    assert Site.objects.count() == 2
    assert Place.objects.filter(kind="theatre").count() == 4
    assert {role.kind for role in Role.objects.all()} == set(Role.Kind.values)
    assert set(Unit.objects.values_list("tenure", flat=True)) == {"owned", "consigned", "loaned"}
    assert not Case.objects.filter(late_entry=True).exists()
    assert Case.objects.filter(urgency="emergency").exists()
    assert any(case.constructs.count() == 2 for case in Case.objects.all())
    assert verify() == []
    assert stock_faults() == []


def test_its_keys_stand_under_the_prefix_for_examples_with_true_check_digits(loaded):
    for code in PackLevel.objects.values_list("code", flat=True):
        assert code[1:4] == "952"
        assert holds_mod10(code)
    for grai in InstrumentSet.objects.values_list("grai", flat=True):
        assert grai.startswith("0952")
        assert holds_mod10(grai[1:14])
    # A pack that came on loan has our number alone.
    own = Pack.objects.exclude(giai=None).values_list("giai", flat=True)
    assert own and all(giai.startswith("952") for giai in own)
    assert all(holds_mod10(gln) for gln in Place.objects.exclude(gln="").values_list("gln", flat=True))


def test_the_sizes_of_a_family_follow_each_other_along_one_shelf(loaded):
    """So the run of sizes on a pick list is one walk: no other size lies between, and none is out of turn."""
    rows: dict[tuple[Any, ...], list[tuple[Any, ...]]] = {}
    # What has come in since by a scan lies where it was put down.
    for unit in Unit.objects.exclude(bin="").select_related("component", "place"):
        component = unit.component
        row, turn = (int(part) for part in unit.bin.split("-"))
        kept = rows.setdefault((unit.site_id, component.family_id, component.side), [])
        kept.append((unit.place.walk, row, turn, component.size_rank, component.second_rank))
    for kept in rows.values():
        walked = [size for _walk, _row, _turn, size, _second in sorted(kept)]
        assert walked == sorted(walked)
        assert len({walk for walk, *_rest in kept}) == 1


def test_a_pick_list_walks_each_run_of_sizes_in_order(loaded):
    case = Case.objects.get(reference="LK-0011")
    keeper = Person.objects.get(username="keeper")
    made = pick_list_make(by=keeper, case=case, at=LOADED_AT)
    lines = made.lines.filter(unit__isnull=False).select_related("unit__component")
    runs: dict[tuple[int, str], list[int]] = {}
    for line in lines.order_by("number"):
        component = line.unit.component
        runs.setdefault((component.family_id, component.side), []).append(component.size_rank)
    assert len(runs) >= 3
    for ranks in runs.values():
        assert ranks == sorted(ranks)


def test_the_record_holds_after_a_morning_of_acts(loaded, capsys):
    keeper = Person.objects.get(username="keeper")
    case = Case.objects.get(reference="LK-0021")
    pick_list_make(by=keeper, case=case, at=LOADED_AT)
    count_sheets_make(by=keeper, case=case, at=LOADED_AT)
    unit = Unit.objects.filter(site=case.site, state="shelf").first()
    before = Unit.objects.count()
    unit_move(by=keeper, unit=unit, place=Place.objects.get(site=case.site, code="IS-D"), at=LOADED_AT)
    case_withdraw(by=keeper, case=case, reason="no_bed", at=LOADED_AT)
    call_command("verify_record")
    assert "The record holds." in capsys.readouterr().out
    assert Unit.objects.count() == before
    verbs = Event.objects.filter(recorded_at=LOADED_AT).order_by("sequence").values_list("verb", flat=True)
    assert list(verbs)[-4:] == ["pick_list.make", "count_sheets.make", "unit.move", "case.cancel"]


def test_a_second_start_doubles_nothing(loaded):
    before = counts()
    assert world_ready(at=LOADED_AT + timedelta(hours=5)) == ""
    assert counts() == before


def test_a_later_start_tops_the_lists_up_to_a_fortnight(loaded):
    before = Case.objects.count()
    later = LOADED_AT + timedelta(days=6)
    assert world_ready(at=later) == "topped up"
    days = set(TheatreList.objects.values_list("day", flat=True))
    ahead = {workday(later.date(), count) for count in range(10)}
    assert ahead <= days
    assert max(days) == max(ahead)
    assert Case.objects.count() > before
    again = counts()
    assert world_ready(at=later + timedelta(hours=1)) == ""
    assert counts() == again
    assert verify() == []


def test_after_months_away_the_fortnight_is_there_and_nothing_between(loaded):
    later = LOADED_AT + timedelta(days=100)
    assert world_ready(at=later) == "topped up"
    ahead = {workday(later.date(), count) for count in range(10)}
    assert ahead <= set(TheatreList.objects.values_list("day", flat=True))
    between = TheatreList.objects.filter(day__gt=LOADED_AT.date() + timedelta(days=14), day__lt=later.date())
    assert not between.exists()


def test_everybody_gets_the_demos_password_and_each_role_is_named_once(loaded):
    found = sign_ins(lambda: "willow-comet-321")
    assert len({one.role for one in found}) == len(found) == len(Role.Kind.values) + 1
    for one in found:
        assert Person.objects.get(username=one.username).check_password("willow-comet-321")
    kept = Person.objects.get(username="keeper").password
    sign_ins(lambda: "willow-comet-321")
    assert Person.objects.get(username="keeper").password == kept


def test_topping_up_adds_no_case_that_is_there(loaded):
    keeper = Person.objects.get(username="keeper")
    at = LOADED_AT + timedelta(days=2)
    added = lists_top_up(by=keeper, base_day=LOADED_AT.date(), at=at)
    assert added > 0
    assert lists_top_up(by=keeper, base_day=LOADED_AT.date(), at=at) == 0
