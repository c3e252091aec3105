"""Counting without a network, over a dead server, on two devices, in an ended session: in Chromium."""

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.journeys.conftest import PASSWORD, ROOT, Server, environment, serving
from tests.journeys.theatre import WIDE, Table, entries, first_count, knee_of

pytestmark = [pytest.mark.browser, pytest.mark.slow]
OPEN = """
import sys
import django; django.setup()
from django.db import connection
from django.utils import timezone
from cases.bookings.queries import whole_cases
from cases.counts.bringing_in import pack_bring_in
from cases.counts.opening import case_open, trolley_take_over
from cases.picks.services import pick_list_make
from cases.picks.ticking import packs_pick
from trays.staff.models import Person
case, now = whole_cases().get(pk=int(sys.argv[1])), timezone.now()
coordinator, scrub, nurse = (Person.objects.get(username=name) for name in ("addlestrop", "pellow", "marrin"))
listed = pick_list_make(by=coordinator, case=case, at=now)
pack = listed.lines.filter(pack__isnull=False).first().pack
packs_pick(by=coordinator, pick_list=listed, packs=[pack], at=now)
case_open(by=nurse, case=case, scrub=scrub, circulating=nurse, at=now)
trolley_take_over(by=nurse, case=case, pick_list=listed, at=now)
pack.refresh_from_db()
pack_bring_in(by=nurse, case=case, pack=pack, indicator="seen", at=now)
connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
"""


@pytest.fixture(scope="module")
def opened(demo_database: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's world with a knee open in theatre, one pack of it opened."""
    file = tmp_path_factory.mktemp("opened") / "world.sqlite3"
    shutil.copyfile(demo_database, file)
    command = [sys.executable, "-c", OPEN, str(knee_of(file))]
    subprocess.run(command, cwd=ROOT, env=environment(file), check=True, timeout=120)
    return file


@pytest.fixture
def server(opened: Path, tmp_path: Path) -> Iterator[Server]:
    with serving(opened, tmp_path) as one:
        yield one


@pytest.fixture
def case(demo_database: Path) -> int:
    return knee_of(demo_database)


@pytest.fixture
def table(walk: Any, case: int) -> Table:
    """The circulating nurse at the count, its first stage begun."""
    table = Table(walk("marrin", viewport=WIDE), case)
    table.go("count/")
    table.says("Begin: First count")
    return table


def test_counting_goes_on_without_network_or_server_and_after_the_tab_was_closed(
    table: Table, server: Server
) -> None:
    context = table.page.context
    table.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    table.press("Begin: First count")
    table.wait_until_sent()
    name = table.page.locator('#board [aria-current="true"]').inner_text()

    context.set_offline(True)
    server.stop(at_once=True)
    table.tap("5", 3)
    table.page.close()
    # The tab is gone and the battery may be too: a new page comes from the device, with the taps.
    table = Table(context.new_page(), table.case)
    table.go("count/")
    table.says("No network")
    table.choose(name)
    assert table.counted(name) == "15"
    table.enter()
    assert table.verdict(name) == "agrees"
    table.page.locator("#none").click()
    table.accept_packs()
    table.close()
    table.says("Begin: Cavity or joint")
    waits = table.waiting()
    assert waits >= 4
    table.says(f"{waits} entries are kept on this device")
    table.page.goto(f"/theatre/{table.case}/sign/")
    table.says("This page needs the network.")
    table.says("write on the printed count sheet")
    table.page.get_by_role("link", name="Count of case").click()
    table.says("Begin: Cavity or joint")
    assert entries(server, name) == []
    kept = table.page.evaluate("""async () => {
        const found = [];
        for (const name of await caches.keys())
            for (const asked of await (await caches.open(name)).keys())
                found.push(new URL(asked.url).pathname);
        return found;
    }""")
    assert kept
    assert all(path.startswith("/static/") or path == "/theatre/shell/" for path in kept), kept

    server.start()
    context.set_offline(False)
    table.wait_until_sent()
    table.says("Kept on this device until the network is back: nothing waiting.")
    assert [counted for counted, _key in entries(server, name)] == [15]
    table.go("count/")
    table.says("First count was closed at")


def test_an_answer_that_is_lost_on_the_way_leaves_one_entry(table: Table, server: Server) -> None:
    """The server did it and dies before the reply is out: the device sends it again under the same key."""
    table.press("Begin: First count")
    table.wait_until_sent()
    name = table.page.locator('#board [aria-current="true"]').inner_text()
    lost: list[int] = []

    def lose(route: Any) -> None:
        lost.append(route.fetch().status)
        route.abort()

    table.page.context.route("**/entries/", lose, times=2)
    table.tap("5", 2)
    table.enter()
    table.wait_until_sent()
    assert lost == [200, 200]
    found = entries(server, name)
    assert [counted for counted, _key in found] == [10]
    assert table.counted(name) == "10"


def test_two_devices_that_counted_differently_show_it_until_it_is_counted_again(
    table: Table, walk: Any, server: Server, case: int
) -> None:
    one, soft = table, first_count(table)
    one.press("Begin: Cavity or joint")
    one.wait_until_sent()
    other = Table(walk("pellow", viewport=WIDE), case)
    other.go("count/")
    other.choose(soft[0])
    other.page.context.set_offline(True)
    other.tap("5")
    other.tap("1", 4)
    other.enter()
    assert other.verdict(soft[0]) == "1 fewer"

    one.page.bring_to_front()
    one.choose(soft[0])
    one.tap("5", 2)
    one.enter()
    one.wait_until_sent()
    assert one.verdict(soft[0]) == "agrees"

    other.page.context.set_offline(False)
    other.wait_until_sent()
    other.says("two devices have two numbers")
    assert other.verdict(soft[0]) == "count again"
    one.page.evaluate("dispatchEvent(new Event('online'))")
    one.page.locator("#board").get_by_text("count again").wait_for()
    one.choose(soft[0])
    told = one.page.locator("#hand").inner_text()
    assert "C. Marrin entered 10, S. Pellow entered 9. Both are kept, neither is taken." in told
    one.tap("5", 2)
    one.enter()
    one.wait_until_sent()
    assert one.verdict(soft[0]) == "agrees"
    assert [counted for counted, _key in entries(server, soft[0])] == [10, 10, 9, 10]


def test_a_session_that_ended_keeps_its_entries_and_another_person_sends_them_in_their_own_name(
    table: Table, server: Server
) -> None:
    table.press("Begin: First count")
    table.wait_until_sent()
    name = table.page.locator('#board [aria-current="true"]').inner_text()
    table.page.context.clear_cookies()
    table.tap("5", 2)
    table.enter()
    table.says("Nobody is signed in any more")
    assert table.counted(name) == "10"
    table.page.get_by_role("link", name="Sign in again").click()
    table.page.get_by_label("Sign-in name").fill("pellow")
    table.page.get_by_label("Password").fill(PASSWORD)
    table.press("Sign in")
    table.says("C. Marrin entered this on this device; it has not been taken in yet.")
    assert entries(server, name) == []
    table.press("Send them as S. Pellow; both names are kept")
    table.wait_until_sent()
    assert [counted for counted, _key in entries(server, name)] == [10]
    table.says("1 entry made by C. Marrin was sent by S. Pellow.")


def test_a_case_that_is_over_leaves_the_device(table: Table) -> None:
    table.until(lambda: table.kept("cases") == 1)
    # Over, as the server tells it.
    table.page.context.route(
        re.compile(r"/state\.json$"),
        lambda route: route.fulfill(json={**route.fetch().json(), "closed": True}),
    )
    table.page.goto("/theatre/")
    table.until(lambda: table.kept("cases") == 0)
