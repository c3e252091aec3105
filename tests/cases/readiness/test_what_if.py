"""Trying a list otherwise: what the page says is what the real act brings."""

import random
import re
from datetime import timedelta
from html import unescape

import pytest
from django.core.cache import cache
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from cases.bookings.kinds import CancelReason
from cases.bookings.models import Case
from cases.bookings.queries import lists_between
from cases.bookings.services import list_reorder
from cases.picks.retime import set_holds_follow
from cases.picks.withdraw import case_shift, case_withdraw
from cases.readiness.altered import free_of, plan_of, tried
from cases.readiness.assess import judge, judgement
from cases.readiness.best_try import best_try
from cases.readiness.snapshot import HORIZON_DAYS, take
from cases.readiness.tries import Kind, Try, try_read
from cases.readiness.whatif import board
from cases.reservations.hold import units_hold
from cases.reservations.sets import set_hold
from trays.instruments.models import InstrumentSet
from trays.parties.models import Site
from trays.stock.models import Unit
from trays.web.errors import Refusal

WIDE = {"femoral": (0, 3), "tibial": (0, 3), "patellar": (0, 3)}
SURE = {"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)}


@pytest.fixture
def tomorrow():
    return timezone.now().date() + timedelta(days=1)


@pytest.fixture
def scarce(world, tomorrow):
    """Two femoral units of each size, plenty of the rest; three knees tomorrow, one the day after."""
    world.stock_everything(1)
    for slot in ("tibial", "insert", "patellar"):
        for key, component in world.components.items():
            if key[0] == slot:
                world.unit(component, 6)
    Unit.objects.update(expires=None)
    world.sets_of_each(4)
    Site.objects.update(turnaround_minutes=60)
    world.site.refresh_from_db()
    for hour, sizes in ((9, SURE), (11, WIDE), (14, SURE)):
        world.a_case(predictions=sizes, day=tomorrow, hour=hour, reference=f"C-{hour:02d}")
    world.a_case(predictions=WIDE, day=tomorrow + timedelta(days=1), reference="D-09")
    return world


def cases():
    return {case.reference: case for case in Case.objects.select_related("site", "list__site")}


def address(theatre_list, *tries):
    return reverse("list-what-if", args=[theatre_list.pk]) + "?" + "&".join(f"t={one}" for one in tries)


def words(response) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", response.content.decode()))).strip()


def the_board(world, theatre_list, *tries, at=None):
    known = judgement(site=world.site, at=at or timezone.now())
    rows = lists_between(world.site.pk, known.horizon.day, known.horizon.day + timedelta(HORIZON_DAYS - 1))
    return board(theatre_list=theatre_list, now=known, rows=rows, pressed=tries)


def test_an_order_tried_says_what_the_list_really_so_ordered_gives(scarce, as_person):
    own, client = cases(), as_person("coordinator")
    theatre_list = own["C-09"].list
    tries = (Try(Kind.UP, own["C-14"].pk), Try(Kind.UP, own["C-14"].pk))
    found = the_board(scarce, theatre_list, *tries)
    now, then = (one.horizon.verdicts[own["C-14"].pk].on_site.chance for one in (found.now, found.then))
    assert then > now + 0.02
    page = client.get(address(theatre_list, *tries))
    said = words(page)
    assert re.search(r"1 Total knee C-14 about \d\d:\d\d, now position 3", said)
    step = int(then * 100 + 1e-9) - int(now * 100 + 1e-9)
    assert f"+{step} in 100" in said
    # The button below what is tried does it.
    form = dict(re.findall(r'name="(client_key|seen|order|move)" value="([^"]*)"', page.content.decode()))
    assert client.post(reverse("list-order", args=[theatre_list.pk]), form).status_code == 303
    assert [case.position for case in (cases()[name] for name in ("C-14", "C-09", "C-11"))] == [1, 2, 3]
    assert dict(judgement(site=scarce.site, at=timezone.now()).horizon.verdicts) == dict(
        found.then.horizon.verdicts
    )
    assert "The list has changed" not in words(client.get(address(theatre_list)))


def test_cases_of_other_days_that_change_are_named(scarce, as_person):
    own, client = cases(), as_person("scrub")
    said = words(client.get(address(own["C-09"].list, f"out.{own['C-11'].pk}")))
    assert re.search(r"Others other lists that change by it .* D-09 .*\+\d+ in 100", said)
    assert "left out" in said
    assert "A coordinator or a surgeon moves and cancels cases." in said
    assert "other lists that change" not in words(client.get(address(own["C-09"].list)))


def test_one_more_of_what_is_named_as_best_gains_what_was_said(scarce, as_person):
    own = cases()
    theatre_list = own["C-09"].list
    known = the_board(scarce, theatre_list)
    best = best_try(known).best
    assert best is not None
    assert best.one.kind is Kind.MORE
    said = words(as_person("stores").get(address(theatre_list)))
    assert "Best next: one more: Femoral" in said
    scarce.unit(next(c for c in scarce.components.values() if f"C{c.pk}" == best.one.item), expires=None)
    real = judge(take(site=scarce.site, at=timezone.now())).verdicts[best.case_id]
    assert real.on_site == best.after
    before = known.now.horizon.verdicts[best.case_id].on_site
    assert real.on_site.chance - before.chance == pytest.approx(best.after.chance - best.before.chance)
    assert best.gain >= best.after.chance - best.before.chance - 1e-9


def test_no_single_try_gains_more_than_the_best(scarce):
    own = cases()
    known = the_board(scarce, own["C-09"].list)
    best = best_try(known).best
    mine = [own[name].pk for name in ("C-09", "C-11", "C-14")]

    def served(horizon):
        return sum(horizon.verdicts[pk].on_site.chance for pk in mine)

    base = served(known.now.horizon)
    every = [Try(Kind.MORE, item=item) for item in known.now.layout.items]
    every += [Try(Kind.UP, own["C-11"].pk), Try(Kind.UP, own["C-14"].pk)]
    gains = {str(one): served(the_board(scarce, own["C-09"].list, one).then.horizon) - base for one in every}
    assert gains[str(best.one)] == pytest.approx(max(gains.values()))


def test_sets_an_hour_later_leave_the_next_case_without(scarce, as_person):
    others = InstrumentSet.objects.filter(code__gt="general-01", code__startswith="general")
    others.update(site=scarce.far_site)
    own = cases()
    Case.objects.filter(reference="C-11").update(starts_at=own["C-09"].starts_at + timedelta(hours=3))
    cache.clear()
    own = cases()
    found = the_board(scarce, own["C-09"].list, Try(Kind.LATER, own["C-09"].pk))
    now, then = (one.horizon.verdicts[own["C-11"].pk].on_site.chance for one in (found.now, found.then))
    assert now > 0.5
    assert then == 0.0
    said = words(as_person("circulating").get(address(own["C-09"].list, f"later.{own['C-09'].pk}")))
    assert "the sets of case C-09 back an hour later" in said


def test_what_is_impossible_is_refused_in_words_and_the_rest_is_tried(scarce, as_person):
    own, client = cases(), as_person("coordinator")
    theatre_list, first, last = own["C-09"].list, own["C-09"].pk, own["C-14"].pk
    spare = scarce.component("femoral", "2", side="right")
    pressed = (f"up.{first}", f"down.{last}", f"move.{first}.{theatre_list.pk}", f"move.{first}.999999")
    page = client.get(
        address(theatre_list, *pressed, f"fewer.C{spare.pk}", f"fewer.C{spare.pk}", "more.C999999")
    )
    said = words(page)
    assert page.status_code == 200
    assert "Case C-09 is the first of its list." in said
    assert "Case C-14 is the last of its list." in said
    assert "Case C-09 is on that list already." in said
    assert "That list is not one of this site’s next four weeks." in said
    assert said.count("No unit of it is free, so there cannot be one fewer.") == 1
    assert "No case of these four weeks may use that." in said
    assert "One thing is tried" in said


def test_so_many_sets_and_units_as_are_said_to_be_free_can_be_taken_away(scarce):
    by, at, case = scarce.cast.keeper, timezone.now(), cases()["C-09"]
    unit = Unit.objects.filter(component__family=scarce.families["tibial"]).first()
    units_hold(by=by, units=[unit], case=case, at=at)
    held = InstrumentSet.objects.select_related("version").get(code="general-01")
    set_hold(by=by, instrument_set=held, case=case, at=at)
    snapshot = take(site=scarce.site, at=at)
    for item, free in ((f"D{held.version.design_id}", 3), (f"C{unit.component_id}", 6)):
        plan = plan_of(snapshot, [])
        assert free_of(snapshot, item) == free
        for _ in range(free):
            plan = tried(plan, Try(Kind.FEWER, item=item))
        with pytest.raises(Refusal, match="free, so there cannot be one fewer"):
            tried(plan, Try(Kind.FEWER, item=item))


def test_what_has_begun_keeps_its_place(scarce, as_person):
    own = cases()
    Case.objects.filter(reference="C-09").update(status=Case.Status.OPENED)
    client = as_person("coordinator")
    assert "Case C-09 has begun, so it keeps its place." in words(
        client.get(address(own["C-09"].list, f"up.{own['C-11'].pk}"))
    )
    assert "has begun" in words(client.get(address(own["C-09"].list)))


def test_nonsense_in_the_address_is_passed_over(scarce, as_person):
    own, client = cases(), as_person("coordinator")
    page = client.get(address(own["C-09"].list, "sideways.3", "up.x", "more.X3", "", "move.1"))
    assert page.status_code == 200
    assert "Press what you would like to try" in words(page)
    assert client.get(address(own["C-09"].list) + "case=x&to-x=1").status_code == 200
    many = [f"more.C{scarce.component('femoral', '2', side='right').pk}"] * 30
    assert "take something away first" in words(client.get(address(own["C-09"].list, *many)))


def test_a_move_chosen_in_a_field_stands_in_the_address(scarce, as_person):
    own, client = cases(), as_person("coordinator")
    case, to = own["C-11"], own["D-09"].list
    asked = reverse("list-what-if", args=[case.list_id]) + f"?case={case.pk}&to-{case.pk}={to.pk}"
    part = client.get(asked, headers={"HX-Request": "true"})
    assert part.headers["HX-Push-Url"] == address(case.list, f"move.{case.pk}.{to.pk}")
    said = words(part)
    assert "at the end of" in said
    assert f"/cases/{case.pk}/move/?list={to.pk}" in part.content.decode()
    # The real act's page opens with that list.
    move = client.get(reverse("case-move", args=[case.pk]) + f"?list={to.pk}").content.decode()
    assert f'value="{to.day.isoformat()}"' in move


def test_a_list_outside_the_four_weeks_is_refused(scarce, as_person, tomorrow):
    past = scarce.a_list(day=tomorrow - timedelta(days=9))
    refused = as_person("coordinator").get(address(past))
    assert refused.status_code == 409
    assert "outside the four weeks that are judged" in words(refused)


def test_the_page_asks_a_fixed_number_of_queries(scarce, as_person, tomorrow):
    client, own = as_person("coordinator"), cases()
    theatre_list, first = own["C-09"].list, own["C-09"].pk

    def asked(*tries) -> int:
        cache.clear()
        client.get(address(theatre_list, *tries))
        cache.clear()
        with CaptureQueriesContext(connection) as queries:
            assert client.get(address(theatre_list, *tries)).status_code == 200
        return len(queries)

    few = asked()
    assert asked(f"down.{first}", f"out.{own['C-14'].pk}") == few
    for n in range(4):
        scarce.a_case(predictions=WIDE, day=tomorrow + timedelta(days=n), reference=f"E-{n}")
    assert asked(f"down.{first}") == few
    client.get(address(theatre_list))
    with CaptureQueriesContext(connection) as queries:
        client.get(address(theatre_list, f"down.{first}"))
    assert len(queries) <= 10


@pytest.mark.parametrize("seed", range(8))
def test_whatever_is_tried_ends_where_the_real_acts_end(scarce, tomorrow, seed):
    by, at, rng = scarce.cast.keeper, timezone.now(), random.Random(seed)
    own = cases()
    femoral = list(Unit.objects.filter(component__family=scarce.families["femoral"]))
    units_hold(by=by, units=femoral[4:6], case=own["C-11"], at=at)
    for name, code in (("C-09", "general-01"), ("C-11", "general-02"), ("C-14", "general-01")):
        chosen = InstrumentSet.objects.get(code=code)
        set_hold(by=by, instrument_set=chosen, case=own[name], at=at)
    set_hold(
        by=by,
        instrument_set=InstrumentSet.objects.get(code="general-03"),
        at=at,
        theatre_list=own["C-09"].list,
    )
    lists = [
        own["C-09"].list_id,
        own["D-09"].list_id,
        scarce.a_list(day=tomorrow, theatre=scarce.second_theatre).pk,
    ]
    snapshot = take(site=scarce.site, at=at)
    plan = plan_of(snapshot, lists_between(scarce.site.pk, snapshot.day, snapshot.day + timedelta(27)))
    for _turn in range(5):
        one = Try(
            rng.choice([Kind.UP, Kind.DOWN, Kind.MOVE, Kind.MOVE, Kind.OUT]),
            rng.choice(list(own.values())).pk,
        )
        if one.kind is Kind.MOVE:
            one = Try(one.kind, one.case_id, rng.choice(lists))
        try:
            plan = tried(plan, one)
        except Refusal:
            with pytest.raises((Refusal, LookupError)), transaction.atomic():
                really(one, by=by, at=at)
        else:
            really(one, by=by, at=at)
    real = take(site=scarce.site, at=at)
    assert plan.snapshot.cases == real.cases
    assert set(plan.snapshot.set_holds) == set(real.set_holds)
    assert plan.snapshot.units == real.units
    assert dict(judge(plan.snapshot).verdicts) == dict(judge(real).verdicts)


def really(one, *, by, at):
    """The act itself; LookupError where it would do nothing."""
    case = Case.objects.select_related("site", "list__site", "list__theatre").get(pk=one.case_id)
    if one.kind is Kind.OUT:
        case_withdraw(by=by, case=case, reason=CancelReason.values[0], at=at)
    elif one.kind is Kind.MOVE:
        target = type(case.list).objects.select_related("theatre").get(pk=one.list_id)
        case_shift(by=by, case=case, theatre=target.theatre, day=target.day, session=target.session, at=at)
    else:
        if case.status != Case.Status.BOOKED:
            raise LookupError
        order = list(
            case.list.cases.exclude(status="cancelled").order_by("position").values_list("pk", flat=True)
        )
        place = order.index(case.pk)
        other = place + (1 if one.kind is Kind.DOWN else -1)
        if other < 0:
            raise LookupError
        order[place], order[other] = order[other], order[place]
        list_reorder(by=by, theatre_list=case.list, order=order, at=at, follow=set_holds_follow)


@pytest.mark.parametrize("text", ["up.12", "move.3.4", "more.C7", "fewer.D2", "later.5", "out.1", "down.2"])
def test_a_try_is_written_as_it_is_read(text):
    assert str(try_read(text)) == text
