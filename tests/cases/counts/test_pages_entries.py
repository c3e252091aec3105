"""What a counting device sends: each entry once, in order; conflicts told; nothing in another's name."""

import json
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from cases.counts.models_counts import Added, Entry, Stage
from cases.counts.models_discrepancies import Discrepancy
from cases.counts.models_sent import SentFor
from tests.cases.counts.at_table import Table, lay_table, named
from tests.world import World
from trays.ledger.models import Event

HERE, THERE = str(uuid4()), str(uuid4())


@pytest.fixture
def table(world: World) -> Table:
    table = lay_table(world)
    table.open()
    table.bring_all_in()
    return table


@pytest.fixture
def nurse(table: Table, as_person: Any) -> Client:
    client: Client = as_person("circulating")
    return client


@pytest.fixture
def stage(table: Table) -> int:
    return Stage.objects.get(word="First count").pk


@pytest.fixture
def closing(table: Table, nurse: Client, stage: int) -> int:
    """The first count is done, with fifteen swabs; the next stage is under way."""
    lines = table.state(nurse)["lines"]
    packs = [pack["pk"] for pack in table.state(nurse)["packs"]]
    taken = table.send(
        nurse,
        {"kind": "begin", "stage": stage},
        {"kind": "add", "line": named(lines, "Swabs, five")["pk"], "quantity": 15},
        {"kind": "count", "stage": stage, "line": named(lines, "Saw blade")["pk"], "counted": 0},
        {"kind": "accept", "stage": stage, "packs": packs},
        {"kind": "close", "stage": stage, **table.people},
    )["taken"]
    assert results(taken) == ["applied"] * 5, taken
    following: int = table.state(nurse)["next"]
    table.send(nurse, {"kind": "begin", "stage": following})
    return following


def results(taken: list[dict[str, Any]]) -> list[str]:
    return [one["result"] for one in taken]


def swabs(table: Table, client: Client) -> dict[str, Any]:
    return named(table.state(client)["lines"], "Swabs, five")


class TestOnceAndInOrder:
    def test_a_batch_that_comes_twice_has_its_effect_once(
        self, table: Table, nurse: Client, closing: int
    ) -> None:
        line = swabs(table, nurse)["pk"]
        batch = [
            {"key": str(uuid4()), "kind": "count", "stage": closing, "line": line, "counted": 14},
            {"key": str(uuid4()), "kind": "add", "line": line, "quantity": 5},
        ]
        assert results(table.send(nurse, *batch, device=HERE)["taken"]) == ["applied", "applied"]
        events = Event.objects.count()
        again = table.send(nurse, *batch, device=HERE)
        assert results(again["taken"]) == ["repeated", "repeated"]
        assert Event.objects.count() == events
        assert Entry.objects.filter(stage=closing).count() == 1
        assert named(again["state"]["lines"], "Swabs, five")["should_be"] == 20

    def test_one_that_is_refused_does_not_hold_up_the_next(
        self, table: Table, nurse: Client, closing: int
    ) -> None:
        line = swabs(table, nurse)["pk"]
        taken = table.send(
            nurse,
            {"kind": "close", "stage": closing, **table.people},
            {"kind": "count", "stage": closing, "line": line, "counted": 15},
            {"kind": "count", "stage": closing, "line": 10**9, "counted": 15},
        )["taken"]
        assert results(taken) == ["refused", "applied", "refused"]
        assert "cannot be closed" in taken[0]["said"]
        assert taken[2]["code"] == "no-such-line"

    def test_a_line_made_on_the_device_is_named_by_the_entry_that_made_it(
        self, table: Table, nurse: Client, closing: int
    ) -> None:
        made = str(uuid4())
        taken = table.send(
            nurse,
            {"key": made, "kind": "new_line", "klass": "small", "name": "Vessel loop", "quantity": 2},
            {"kind": "count", "stage": closing, "line": made, "counted": 2},
        )["taken"]
        assert results(taken) == ["applied", "applied"]
        assert Entry.objects.get(line__name="Vessel loop").counted == 2

    def test_device_time_is_kept_beside_the_servers(self, table: Table, nurse: Client, closing: int) -> None:
        line = swabs(table, nurse)["pk"]
        at = "2026-12-07T14:29:05.120Z"
        for moment in (at, "yesterday", "2026-12-07T14:29:05", None):
            entry = {"kind": "count", "stage": closing, "line": line, "counted": 15, "at": moment}
            assert results(table.send(nurse, entry)["taken"]) == ["applied"]
        kept = list(Entry.objects.filter(stage=closing).order_by("pk").values_list("device_at", flat=True))
        assert kept[0] is not None
        assert kept[0].isoformat() == "2026-12-07T14:29:05.120000+00:00"
        assert kept[1:] == [None, None, None]


class TestTwoDevices:
    def test_two_numbers_for_one_line_are_a_conflict_until_it_is_counted_again(
        self, table: Table, nurse: Client, closing: int
    ) -> None:
        line = swabs(table, nurse)["pk"]
        count = {"kind": "count", "stage": closing, "line": line}
        table.send(nurse, {**count, "counted": 15}, device=HERE)
        other = table.send(nurse, {**count, "counted": 14, "seen": None}, device=THERE)
        assert results(other["taken"]) == ["conflict"]
        assert other["taken"][0]["next_step"] == "Count it again, aloud."
        told = named(other["state"]["lines"], "Swabs, five")
        assert told["verdict"] == "conflict"
        rival = other["state"]["conflicts"][0]
        assert {rival["counted"], rival["other"]} == {14, 15}
        settled = table.send(
            nurse, {**count, "counted": 15, "seen": told["newest"][str(closing)]}, device=HERE
        )
        assert named(settled["state"]["lines"], "Swabs, five")["verdict"] == "equal"

    def test_a_server_that_knows_more_is_not_overwritten(
        self, table: Table, nurse: Client, closing: int
    ) -> None:
        """A device that was away for a while accepts a pack of which another one has counted a line."""
        pack = table.state(nurse)["packs"][0]
        line = pack["lines"][0]
        seen = max(Entry.objects.values_list("pk", flat=True))
        table.send(nurse, {"kind": "count", "stage": closing, "line": line, "counted": 0}, device=THERE)
        late = table.send(
            nurse, {"kind": "accept", "stage": closing, "packs": [pack["pk"]], "seen": seen}, device=HERE
        )
        assert results(late["taken"]) == ["conflict"]
        shown = {one["pk"]: one["verdict"] for one in late["state"]["lines"]}
        assert shown[line] == "conflict"


class TestWhoseEntriesTheyAre:
    def test_another_persons_entries_wait_until_somebody_stands_for_them(
        self, table: Table, nurse: Client, as_person: Any, closing: int
    ) -> None:
        scrub, line = as_person("scrub"), swabs(table, nurse)["pk"]
        entry = {"key": str(uuid4()), "kind": "count", "stage": closing, "line": line, "counted": 15}
        held = table.send(scrub, entry, device=HERE)
        assert results(held["taken"]) == ["held"]
        assert "C. Circulating entered this on this device" in held["taken"][0]["said"]
        assert not Entry.objects.filter(stage=closing).exists()

        sent = {**entry, "sent_by": table.world.cast.scrub.pk}
        for expected in ("applied", "repeated"):
            assert results(table.send(scrub, sent, device=HERE)["taken"]) == [expected]
        assert Entry.objects.get(stage=closing).by == table.world.cast.scrub
        row = SentFor.objects.get()
        assert (row.entered_by, row.sent_by) == (table.world.cast.circulating, table.world.cast.scrub)
        picture = scrub.get(table.address("state.json"), headers={"accept": "application/json"}).json()
        assert picture["sent_for"] == [
            {"entered_by__name": "C. Circulating", "sent_by__name": "S. Scrub", "entries": 1}
        ]

    def test_nobody_is_made_up(self, table: Table, nurse: Client, closing: int) -> None:
        line = swabs(table, nurse)["pk"]
        me = table.world.cast.circulating.pk
        for maker in (10**9, "me", None, True, -1):
            entry = {
                "kind": "count",
                "stage": closing,
                "line": line,
                "counted": 15,
                "by": maker,
                "sent_by": me,
            }
            assert results(table.send(nurse, entry)["taken"]) == ["held"]
        assert not Entry.objects.filter(stage=closing).exists()


class TestADifference:
    def test_it_is_settled_step_by_step_by_two(self, table: Table, nurse: Client, closing: int) -> None:
        line, key = swabs(table, nurse)["pk"], str(uuid4())
        taken = table.send(
            nurse,
            {"kind": "count", "stage": closing, "line": line, "counted": 14},
            {"kind": "discrepancy", "key": key, "stage": closing, "line": line},
            *(
                {"kind": "step", "discrepancy": key, "number": n, "done": True, "note": "seen to"}
                for n in range(1, 6)
            ),
            {
                "kind": "settle", "discrepancy": key, "outcome": "not_found_xray",
                "note": "x-ray shows nothing",
                "second": table.world.cast.scrub.pk,
            },
        )  # fmt: skip
        assert results(taken["taken"]) == ["applied"] * 8, taken["taken"]
        assert named(taken["state"]["lines"], "Swabs, five")["verdict"] == "settled"
        one = Discrepancy.objects.get()
        assert (one.first, one.second) == (table.world.cast.circulating, table.world.cast.scrub)

    def test_nobody_settles_it_with_themselves(self, table: Table, nurse: Client, closing: int) -> None:
        line, key = swabs(table, nurse)["pk"], str(uuid4())
        me = table.world.cast.circulating.pk
        taken = table.send(
            nurse,
            {"kind": "count", "stage": closing, "line": line, "counted": 16},
            {"kind": "discrepancy", "key": key, "stage": closing, "line": line},
            {"kind": "settle", "discrepancy": key, "outcome": "unexplained", "note": "?", "second": me},
        )["taken"]
        assert (taken[2]["result"], taken[2]["code"]) == ("refused", "same-person")


class TestTheRestOfTheDeeds:
    def test_each_does_its_act(self, table: Table, nurse: Client, closing: int) -> None:
        cast = table.world.cast
        line, packed = swabs(table, nurse)["pk"], table.state(nurse)["packs"][0]["lines"][0]
        added = str(uuid4())
        taken = table.send(
            nurse,
            {"kind": "pause", "klass": "soft", "reason": "instrument changed"},
            {"kind": "resume"},
            {"kind": "recount", "stage": closing, "klass": "soft", "reason": "asked"},
            {"kind": "add", "key": added, "line": line, "quantity": 5},
            {"kind": "correct", "added": added, "reason": "slip"},
            {"kind": "fragment", "broken": packed, "pieces": 2, "name": "Broken block"},
            {"kind": "left_in", "line": line, "quantity": 1, "plan": "pack, out on Friday",
             "decided_by": "Ms S."},
            {"kind": "packet", "line": line, "found": 4, "lot": "L1"},
            {"kind": "hand_over", "seat": "scrub_nurse", "to": cast.keeper.pk},
            {"kind": "extra"},
            {
                "kind": "not_done", "stage": closing, "reason": "bleeding", "follow_up": "x-ray",
                "decided_by": "Ms Surgeon",
            },
            {"kind": "follow_up", "stage": closing, "note": "nothing seen"},
        )["taken"]  # fmt: skip
        said = {one["said"] for one in taken if one["result"] != "applied"}
        assert said == {"Nobody with this name counts at this site."}
        assert [one["result"] for one in taken].count("applied") == 11
        assert Added.objects.filter(line=line, kind="correction", quantity=-5).count() == 1


class TestBadInput:
    NONSENSE = (
        b"", b"null", b"[]", b"{}", b'{"entries": 1}', b'{"entries": [1]}', b'{"entries": [[]]}', b"[" * 5000,
        b"\xff\xfe", b'{"entries": [' + b",".join([b"{}"] * 101) + b"]}",
    )  # fmt: skip

    @pytest.mark.parametrize("body", NONSENSE, ids=range(len(NONSENSE)))
    def test_a_batch_that_cannot_be_read_is_refused_whole(
        self, table: Table, nurse: Client, body: bytes
    ) -> None:
        answer = nurse.post(
            table.address("entries/"),
            body,
            content_type="application/json",
            headers={"accept": "application/json"},
        )
        assert answer.status_code == 422
        assert answer.json()["code"] == "entries-unreadable"

    def test_an_entry_that_makes_no_sense_is_refused_alone(
        self, table: Table, nurse: Client, closing: int
    ) -> None:
        good = {"kind": "count", "stage": closing, "line": swabs(table, nurse)["pk"], "counted": 15}
        odd: list[Any] = [-1, 1.5, True, None, "x", "٣", 10**400, [], {}, "1" * 5000]
        events = Event.objects.count()
        batch = [{**good, field: value} for field in ("counted", "line", "stage") for value in odd]
        batch += [{**good, "key": value} for value in (None, "x", 5, {})]
        batch += [{**good, "kind": value} for value in (None, "x", 5, ["count"], {})]
        taken = table.send(nurse, *batch)["taken"]
        assert set(results(taken)) == {"refused"}
        assert Event.objects.count() == events

    def test_text_that_is_too_long_or_holds_control_characters_is_refused(
        self, table: Table, nurse: Client, closing: int
    ) -> None:
        line = {"kind": "new_line", "klass": "small", "quantity": 1}
        taken = table.send(nurse, *({**line, "name": name} for name in ("x" * 121, "a\x00b", "a\nb", 5)))[
            "taken"
        ]
        assert set(results(taken)) == {"refused"}

    def test_who_may_not_count_is_told_so_for_each(self, table: Table, as_person: Any, stage: int) -> None:
        surgeon = table.world.cast.surgeon
        taken = table.send(as_person("surgeon"), {"kind": "begin", "stage": stage}, by=surgeon.pk)["taken"]
        assert (taken[0]["result"], taken[0]["code"]) == ("refused", "not-your-act")


def test_a_case_that_is_over_tells_the_device_so(world: World, as_person: Any) -> None:
    table, nurse = lay_table(world), as_person("circulating")
    assert nurse.get(table.address("state.json")).json()["closed"] is False
    table.case.status, table.case.cancel_reason = "cancelled", "patient unfit"
    table.case.save()
    told = nurse.get(table.address("state.json")).json()
    assert told["closed"] is True
    assert told["token"]


def test_the_picture_is_json_all_through(table: Table, nurse: Client, closing: int) -> None:
    told = nurse.get(table.address("state.json")).json()
    assert json.loads(json.dumps(told)) == told
    assert told["state"]["steps"][0]["kind"] == "tell"
    assert [one["right_now"] for one in told["outcomes"]].count(True) == 3
