"""Two devices count and close at the same moment; a server that dies after the commit has counted once."""

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection

from cases.counts import counting, ending, staging
from cases.counts.bringing_in import Opened, pack_bring_in
from cases.counts.models_counts import Entry, PackIn, Stage
from tests.cases.counts.theatre import Theatre, a_theatre
from tests.world import World
from trays.ledger.models import Event
from trays.ledger.queries import verify
from trays.web.errors import Refusal

pytestmark = pytest.mark.race
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def theatre(race_world: World) -> Theatre:
    """The first count, balanced; not closed yet."""
    made = a_theatre(race_world)
    made.begin("First")
    made.add("Gauze", 10)
    made.count_right("First")
    return made


@pytest.fixture
def meet(monkeypatch: pytest.MonkeyPatch) -> threading.Event:
    """The one that closes has looked at the figures and waits for the other number; the lock keeps it out."""
    looked = threading.Event()
    look = ending.figures_of

    def look_and_wait(stage: Stage) -> Any:
        seen = look(stage)
        looked.set()
        threading.Event().wait(1.0)
        return seen

    monkeypatch.setattr(ending, "figures_of", look_and_wait)
    return looked


def test_a_number_that_comes_while_the_stage_closes_is_never_lost_in_it(
    theatre: Theatre, meet: threading.Event, at_once: Callable[..., list[Any]]
) -> None:
    stage, line = theatre.stage("First").pk, theatre.line("Gauze").pk
    said = theatre.said(device=uuid4())

    def close() -> Stage:
        people = {"scrub": theatre.scrub, "circulating": theatre.circulating}
        return staging.stage_close(**{**said, **people}, stage=stage)

    def count() -> Entry:
        assert meet.wait(30)
        facts = {**said, "device": uuid4(), "by": theatre.scrub}
        return counting.count_enter(**facts, line=line, stage=stage, counted=9)

    closed, entry = at_once(close, count)
    assert isinstance(closed, Stage), repr(closed)
    assert isinstance(entry, Entry), repr(entry)
    # It came after what was agreed, is on file as that, and is chased.
    assert entry.after_close
    assert "late-entry" in [gap.code for gap in theatre.state().gaps]
    assert verify() == []


def test_one_key_from_two_at_once_is_one_entry(
    theatre: Theatre, at_once: Callable[..., list[Any]]
) -> None:
    facts = {
        **theatre.said(device=uuid4(), client_key=uuid4()), "line": theatre.line("Blade").pk,
        "stage": theatre.stage("First").pk, "counted": 0,
    }  # fmt: skip
    before = Entry.objects.count()
    answers = at_once(*[lambda: counting.count_enter(**facts)] * 2)
    assert answers[0] == answers[1]
    assert Entry.objects.count() == before + 1


def test_one_pack_scanned_by_two_at_once_is_brought_in_once(
    theatre: Theatre, at_once: Callable[..., list[Any]]
) -> None:
    pack = theatre.world.a_set("general", "KG-01").packs.get()
    facts = {
        **theatre.said(pack=pack, indicator="seen"), "opened_already": Opened("other", "S. Scrub"),
    }  # fmt: skip
    answers = at_once(*[lambda: pack_bring_in(**facts)] * 2)
    (lost,) = (one for one in answers if isinstance(one, Exception))
    assert isinstance(lost, Refusal), repr(lost)
    assert lost.code in ("pack-in-already", "changed-meanwhile")
    assert PackIn.objects.count() == 1


def test_two_stages_never_begin_together(theatre: Theatre, at_once: Callable[..., list[Any]]) -> None:
    theatre.close("First")
    said = theatre.said()
    answers = at_once(
        *[
            lambda word=word: counting.stage_begin(**said, stage=theatre.stage(word).pk)
            for word in ("Cavity", "Final")
        ]
    )
    (lost,) = (one for one in answers if isinstance(one, Exception))
    assert isinstance(lost, Refusal), repr(lost)
    assert lost.code in ("another-stage-open", "changed-meanwhile")
    assert Stage.objects.filter(state="open").count() == 1


DIES = """
import os, signal, sys
import django
django.setup()
from datetime import datetime
from uuid import UUID
from cases.bookings.models import Case
from cases.counts.counting import count_enter
from trays.staff.models import Person
by, case, line, stage, key, at = sys.argv[1:]
count_enter(by=Person.objects.get(pk=by), case=Case.objects.get(pk=case), line=int(line), stage=int(stage),
            counted=3, at=datetime.fromisoformat(at), client_key=UUID(key))
# Committed; nobody has been answered.
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_server_that_dies_between_commit_and_reply_has_counted_once(theatre: Theatre) -> None:
    once, said = uuid4(), theatre.said()
    line, stage = theatre.line("Blade").pk, theatre.stage("First").pk
    before, events = Entry.objects.count(), Event.objects.count()
    name = str(connection.settings_dict["NAME"])
    env = {**os.environ, "DJANGO_SETTINGS_MODULE": "config.settings", "TRAYSPAN_DB": name, "PGDATABASE": name}
    given = (said["by"].pk, said["case"].pk, line, stage, once, said["at"].isoformat())
    died = subprocess.run(
        [sys.executable, "-c", DIES, *map(str, given)], cwd=ROOT, env=env, capture_output=True, timeout=60
    )
    assert died.returncode == -signal.SIGKILL, died.stderr.decode()
    # The device heard nothing and sends it again.
    again = counting.count_enter(**said, line=line, stage=stage, counted=3, client_key=once)
    assert (again.counted, again.client_key) == (3, once)
    assert (Entry.objects.count(), Event.objects.count()) == (before + 1, events + 1)
    assert verify() == []
