"""A case in theatre for the journeys: from its pick list to the table, worked by scanner and by touch."""

from __future__ import annotations

import re
import sqlite3
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.scanner import Scanner

WIDE = {"width": 1280, "height": 900}
TABLET = {"width": 820, "height": 1180}


def knee_of(database: Path) -> int:
    """The first knee at Larkmere that is still to come."""
    question = """
        SELECT one.id FROM cases_case AS one
        JOIN cases_procedure AS procedure ON procedure.id = one.procedure_id
        JOIN trays_site AS site ON site.id = one.site_id
        WHERE site.code = 'larkmere' AND procedure.name LIKE '%knee%' AND one.status = 'booked'
        ORDER BY one.starts_at LIMIT 1
    """
    with sqlite3.connect(database) as world:
        return int(world.execute(question).fetchone()[0])


@dataclass
class Table:
    """One nurse's device at the table: the page, a scanner beside it, the case."""

    page: Any
    case: int
    scanner: Scanner = field(init=False)

    def __post_init__(self) -> None:
        self.scanner = Scanner(self.page)

    def go(self, page: str = "") -> None:
        # Keys reach the page in front, and another person's may be.
        self.page.bring_to_front()
        self.page.goto(f"/theatre/{self.case}/{page}")

    def press(self, name: str | re.Pattern[str]) -> None:
        self.page.get_by_role("button", name=name).first.click()

    def says(self, words: str | re.Pattern[str]) -> None:
        self.page.get_by_text(words).first.wait_for()

    def open(self, scrub: str = "S. Pellow", circulating: str = "C. Marrin") -> None:
        """Open the case, and take the trolley over."""
        self.go()
        self.page.get_by_label("Scrub nurse").select_option(label=scrub)
        self.page.get_by_label("Circulating nurse").select_option(label=circulating)
        self.press("Open the case")
        self.press("Take over what picking checked")
        self.says("The trolley is taken over.")

    def packs(self) -> list[str]:
        """Numbers of the packs that are in the room and not opened yet."""
        rows = self.page.get_by_role("region", name="Sets of this case").get_by_role("row")
        return [
            row.locator("td .code").first.inner_text() for row in rows.filter(has_text="in the room").all()
        ]

    def bring_in(self, number: str) -> None:
        """Scan a pack as it is opened; the scrub nurse has seen the indicator."""
        self.scanner.scan(number)
        self.page.wait_for_url(re.compile(r"\?pack=\d+"))
        self.press("Seen, changed")
        self.says(f"Pack {number} is opened and counted with.")

    def tap(self, key: str, times: int = 1) -> None:
        for _ in range(times):
            self.page.locator(f"#key-{key}").click()

    def enter(self) -> None:
        self.page.locator("#enter").click()

    def choose(self, name: str) -> None:
        """Take a line of the board in hand."""
        self.page.locator("#board").get_by_role("button", name=name, exact=True).click()

    def verdict(self, name: str) -> str:
        row = self.page.locator("#board tr").filter(
            has=self.page.get_by_role("button", name=name, exact=True)
        )
        return str(row.locator("td.word").inner_text()).strip()

    def counted(self, name: str) -> str:
        row = self.page.locator("#board tr").filter(
            has=self.page.get_by_role("button", name=name, exact=True)
        )
        return str(row.locator("td").nth(1).inner_text()).strip()

    def lines(self) -> list[str]:
        """The names on the board, packs left out."""
        return [str(name) for name in self.page.locator("#board tbody button.of-row").all_inner_texts()]

    def accept_packs(self) -> None:
        """Touch every pack that is still to accept."""
        packs = self.page.locator(".packs button")
        for turn in range(packs.count()):
            if packs.nth(turn).get_attribute("aria-pressed") == "false":
                packs.nth(turn).click()

    def close(self) -> None:
        self.press("Both say aloud that it agrees: close")

    def kept(self, store: str) -> int:
        """How many rows of a store of the page are on this device."""
        return int(
            self.page.evaluate(
                """async (name) => {
                    const open = indexedDB.open("trayspan-counts");
                    const store = await new Promise((done) => { open.onsuccess = () => done(open.result); });
                    const ask = store.transaction(name).objectStore(name).count();
                    const count = await new Promise((done) => { ask.onsuccess = () => done(ask.result); });
                    store.close();
                    return count;
                }""",
                store,
            )
        )

    def waiting(self) -> int:
        """How many entries wait on this device."""
        return self.kept("queue")

    def until(self, what: Callable[[], bool], seconds: float = 60) -> None:
        """Wait for something that is asked anew each time."""
        end = time.monotonic() + seconds
        while not what():
            assert time.monotonic() < end, "it does not come"
            self.page.wait_for_timeout(50)

    def wait_until_sent(self) -> None:
        """Until nothing waits any more, by the page's own word and on the device."""
        says = self.page.locator("#ending").get_by_text("until the network is back: nothing waiting")
        self.until(lambda: says.count() == 1 and self.waiting() == 0)


def pick(page: Any, case: int, *, most: int = 99) -> None:
    """The coordinator's part: the list is made, and (so many of) its packs are ticked by scan."""
    page.bring_to_front()
    page.goto(f"/cases/{case}/")
    page.get_by_role("button", name="Make the pick list").click()
    page.wait_for_url(re.compile(r"/pick-lists/\d+/$"))
    scanner = Scanner(page)
    numbers = re.findall(r"pack (\S+)-\d+", page.get_by_role("region", name="Pick list").inner_text())
    for number in list(dict.fromkeys(numbers))[:most]:
        scanner.scan(number)
        page.locator("#answer").get_by_text(f"pack {number}").first.wait_for()


def entries(server: Any, name: str) -> list[tuple[int, str]]:
    """What the server has of a line: numbers and keys, in order."""
    question = """
        SELECT entry.counted, entry.client_key FROM cases_entry AS entry
        JOIN cases_countline AS line ON line.id = entry.line_id WHERE line.name = ? ORDER BY entry.id
    """
    with sqlite3.connect(server.database) as world:
        return list(world.execute(question, (name,)).fetchall())


def first_count(table: Table) -> list[str]:
    """The whole first count: two packets of each soft good, none of the rest, each pack. Gives soft goods."""
    table.press("Begin: First count")
    table.says("Counted aloud by S. Pellow and C. Marrin.")
    soft = []
    while table.page.locator("#key-5").count():
        name = table.page.locator('#board [aria-current="true"]').inner_text()
        if name in soft:
            break
        soft.append(name)
        table.tap("5", 2)
        table.enter()
    table.page.locator("#none").click()
    table.accept_packs()
    table.close()
    return soft
