"""The theatre's pages: today's list, opening a case, the trolley, each pack opened, the count by forms."""

import base64
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from cases.counts.models_counts import Entry, PackIn, Stage, StageState, TheatreCount
from cases.picks.models import PackFor
from cases.picks.papers import sheet_code
from tests.cases.counts.at_table import Table, lay_table
from tests.world import World
from trays.identifiers import ours
from trays.instruments.models import PackLine, PackState
from trays.refusals.models import RefusedScan


@pytest.fixture
def table(world: World) -> Table:
    return lay_table(world)


@pytest.fixture
def nurse(table: Table, as_person: Any) -> Client:
    client: Client = as_person("circulating")
    return client


def shown(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.headers
    return answer.content.decode()


def scanned(client: Client, page: str, code: str) -> Any:
    raw = base64.b64encode(code.encode()).decode()
    return client.post("/scan/", {"raw": raw, "page": page}, headers={"HX-Request": "true"})


def labelled(table: Table, place: int = 0) -> str:
    """A pack's label, as a scanner reads it."""
    pack = table.packs[place]
    pack.giai = f"9521234P{pack.pk:06d}"
    pack.save(update_fields=["giai"])
    return ours.pack_label("9521234", f"P{pack.pk:06d}", str(pack.round))


class TestToday:
    def test_it_says_what_each_case_has_and_leads_into_it(self, table: Table, nurse: Client) -> None:
        page = shown(nurse, "/theatre/")
        assert "Theatre 1" in page
        assert "R-1187" in page
        assert "RIGHT" in page
        assert f"0 of {len(table.packs)} packs" in page
        assert "not picked" in page
        assert f'href="{table.address()}"' in page
        assert "1 still lacks something." in page

    def test_a_theatre_is_chosen_and_another_days_case_is_not_there(
        self, table: Table, nurse: Client
    ) -> None:
        world = table.world
        world.a_case(day=table.case.list.day, theatre=world.second_theatre, reference="R-2000")
        world.a_case(day=table.case.list.day + timedelta(days=1), reference="R-3000")
        page = shown(nurse, "/theatre/")
        assert "R-1187" in page
        assert "R-2000" in page
        assert "R-3000" not in page
        one = shown(nurse, "/theatre/?theatre=T2")
        assert "R-2000" in one
        assert "R-1187" not in one

    def test_ten_cases_cost_as_many_queries_as_one(
        self, table: Table, nurse: Client, django_assert_max_num_queries: Any
    ) -> None:
        for hour in range(10, 16):
            table.world.a_case(day=table.case.list.day, hour=hour)
        # Cases and sides 2, lists 1, packs that left 1, sets' facts 4; session, person, roles, site, device.
        with django_assert_max_num_queries(16):
            shown(nurse, "/theatre/")

    def test_a_pick_lists_code_opens_its_case(self, table: Table, nurse: Client) -> None:
        table.world.site.gln = ours.gln("9521234", "31")
        table.world.site.save()
        answer = scanned(nurse, "/theatre/", sheet_code(table.world.site, table.pick_list.number))
        assert answer.headers["HX-Redirect"] == table.address()


class TestBringingIn:
    def test_a_case_is_opened_once_by_two_different_people(self, table: Table, nurse: Client) -> None:
        same = nurse.post(table.address("open/"), {**table.people, "circulating": table.people["scrub"]})
        assert same.status_code == 422
        assert "two different people" in same.content.decode()
        assert nurse.post(table.address("open/"), table.people).status_code == 303
        nurse.post(table.address("open/"), table.people)
        count = TheatreCount.objects.get()
        assert (count.scrub_id, count.circulating_id) == tuple(table.people.values())

    def test_one_press_takes_the_trolley_over(self, table: Table, nurse: Client) -> None:
        table.open()
        assert "Take over what picking checked" in shown(nurse, table.address())
        assert nurse.post(table.address("trolley/")).status_code == 303
        assert PackFor.objects.filter(case=table.case).count() == len(table.packs)
        page = shown(nurse, table.address())
        assert f"{len(table.packs)} of {len(table.packs)} packs are in the room" in page
        assert "Take over what picking checked" not in page

    def test_so_does_the_pick_lists_own_code(self, table: Table, nurse: Client) -> None:
        table.world.site.gln = ours.gln("9521234", "31")
        table.world.site.save()
        table.open()
        answer = scanned(nurse, table.address(), sheet_code(table.world.site, table.pick_list.number))
        assert "is taken over" in answer.content.decode()
        assert answer.headers["HX-Trigger"] == "worked"

    def test_a_pack_is_checked_in_words_before_its_indicator_is_asked_for(
        self, table: Table, nurse: Client
    ) -> None:
        table.open()
        code = labelled(table)
        where = scanned(nurse, table.address(), code).headers["HX-Redirect"]
        page = shown(nurse, where.partition("#")[0])
        for words in ("Released", "For this case", "Complete in all that is critical", "Seen, changed"):
            assert words in page
        pack = table.packs[0]
        assert nurse.post(table.address(f"packs/{pack.pk}/"), {}).status_code == 422
        assert nurse.post(table.address(f"packs/{pack.pk}/"), {"indicator": "seen"}).status_code == 303
        pack.refresh_from_db()
        assert pack.state == PackState.OPENED
        assert PackIn.objects.get().indicator == "seen"

    def test_a_double_scan_of_it_is_refused_and_kept(self, table: Table, nurse: Client) -> None:
        table.open()
        code = labelled(table)
        nurse.post(table.address(f"packs/{table.packs[0].pk}/"), {"indicator": "seen"})
        said = scanned(nurse, table.address(), code).content.decode()
        assert "has been brought in for this case already" in said
        assert RefusedScan.objects.get().code == "pack-in-already"

    def test_a_pack_out_of_date_is_refused_but_taken_down_with_reason_and_name(
        self, table: Table, nurse: Client
    ) -> None:
        table.open()
        code = labelled(table)
        pack = table.packs[0]
        pack.sterile_until = table.case.list.day - timedelta(days=1)
        pack.save(update_fields=["sterile_until"])
        said = scanned(nurse, table.address(), code).content.decode()
        assert "was in date until" in said
        assert "It was opened already" in said
        assert RefusedScan.objects.get().code == "pack-out-of-date"
        send = table.address(f"packs/{pack.pk}/")
        assert nurse.post(send, {"indicator": "seen"}).status_code == 422
        unnamed = nurse.post(send, {"indicator": "seen", "reason": "emergency", "note": "the field waited"})
        assert unnamed.status_code == 422
        assert "the field waited" in unnamed.content.decode()
        nurse.post(send, {"indicator": "seen", "reason": "emergency", "decided_by": "Ms Surgeon"})
        row = PackIn.objects.get()
        assert (row.marks, row.decided_by) == (["out_of_date"], "Ms Surgeon")
        assert "out of date" in shown(nurse, table.address())

    def test_shortages_packed_into_a_set_are_shown_before_it_is_opened(
        self, table: Table, nurse: Client
    ) -> None:
        line = PackLine.objects.filter(pack=table.packs[0], line__critical=False).first()
        assert line is not None
        line.present -= 1
        line.save()
        assert "1 Artery forceps short" in shown(nurse, table.address())

    def test_a_pack_that_is_not_at_this_site_is_not_there(self, table: Table, nurse: Client) -> None:
        table.open()
        for pack in ("999999", "9" * 5000):
            assert nurse.get(table.address(), {"pack": pack}).status_code == 404


class TestTheCountByForms:
    @pytest.fixture
    def brought(self, table: Table) -> Table:
        table.open()
        table.bring_all_in()
        return table

    def enter(self, nurse: Client, table: Table, **given: Any) -> None:
        assert nurse.post(table.address("count/entry/"), given).status_code == 303

    def test_before_the_case_is_opened_it_leads_to_bringing_in(self, table: Table, nurse: Client) -> None:
        answer = nurse.get(table.address("count/"))
        assert (answer.status_code, answer["Location"]) == (303, table.address())

    def test_a_stage_is_counted_and_closed_without_any_script(self, brought: Table, nurse: Client) -> None:
        stage = Stage.objects.get(word="First count")
        assert "Begin: First count" in shown(nurse, brought.address("count/"))
        self.enter(nurse, brought, kind="begin", stage=stage.pk)
        page = shown(nurse, brought.address("count/"))
        assert "Swabs, five" in page
        state = brought.state(nurse)
        for line in state["lines"]:
            self.enter(
                nurse, brought, kind="count", stage=stage.pk, line=line["pk"], counted=line["should_be"]
            )
        self.enter(nurse, brought, kind="close", stage=stage.pk, **brought.people)
        stage.refresh_from_db()
        assert stage.state == StageState.CLOSED

    def test_what_is_refused_stands_on_the_page_in_words(self, brought: Table, nurse: Client) -> None:
        stage = Stage.objects.get(word="First count")
        self.enter(nurse, brought, kind="begin", stage=stage.pk)
        self.enter(nurse, brought, kind="close", stage=stage.pk, **brought.people)
        assert "First count cannot be closed" in shown(nurse, brought.address("count/"))
        for nonsense in ({"kind": "no such"}, {"kind": "count", "line": "x" * 5000}, {"kind": "count"}):
            self.enter(nurse, brought, **nonsense)
        assert Entry.objects.count() == 0

    def test_a_scan_of_a_pack_accepts_it_whole(self, brought: Table, nurse: Client) -> None:
        code = labelled(brought)
        said = scanned(nurse, brought.address("count/"), code).content.decode()
        assert "No count is under way" in said
        self.enter(nurse, brought, kind="begin", stage=Stage.objects.get(word="First count").pk)
        answer = scanned(nurse, brought.address("count/"), code)
        assert "counted aloud and accepted" in answer.content.decode()
        assert answer.headers["HX-Trigger"] == "worked"
        assert Entry.objects.filter(basis="by_pack", line__pack_in__pack=brought.packs[0]).count() == 2

    def test_those_who_do_not_count_look_on(self, brought: Table, as_person: Any) -> None:
        surgeon = as_person("surgeon")
        stage = Stage.objects.get(word="First count")
        page = shown(surgeon, brought.address("count/"))
        assert "Begin: First count" not in page.partition('data-words="')[0] + page.partition('">')[2][-400:]
        assert (
            surgeon.post(brought.address("count/entry/"), {"kind": "begin", "stage": stage.pk}).status_code
            == 403
        )


def test_the_count_page_costs_the_same_however_many_lines_there_are(
    table: Table, nurse: Client, django_assert_max_num_queries: Any
) -> None:
    table.open()
    table.bring_all_in()
    # The picture 19 and the plain page's own 19, people, steps, what came on, sent for; session and person.
    with django_assert_max_num_queries(60):
        shown(nurse, table.address("count/"))


def test_times_are_those_of_the_site(table: Table, nurse: Client) -> None:
    table.open()
    opened = timezone.now()
    assert table.state(nurse)["zone"] == "Europe/London"
    assert table.state(nurse)["opened_at"][:16] <= opened.isoformat()[:16]
