"""A count of three hundred lines: on the server, and from tap to paint in the browser."""

import json
from typing import Any

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client

from cases.counts.bringing_in import Opened
from cases.counts.content import stage_content
from cases.counts.kinds_count import as_json
from tests.bench.conftest import median_of, tell, timed
from tests.cases.counts.theatre import Theatre, a_theatre
from tests.world import World
from trays.instruments.models import ContentsLine, DesignVersion, InstrumentType
from trays.ledger.guards import registered, remove

LINES = 300


def of_three_hundred_lines(world: World) -> Theatre:
    """Three sets of a hundred lines; the first count done, the second under way."""
    version = DesignVersion.objects.get(design__code="general")
    number = version.lines.count()
    types = InstrumentType.objects.bulk_create(
        InstrumentType(code=f"bench-{n}", name=f"Instrument {n}") for n in range(100 - number)
    )
    ContentsLine.objects.bulk_create(
        ContentsLine(version=version, tray=1, number=number + turn, instrument=one, quantity=2)
        for turn, one in enumerate(types, start=1)
    )
    made = a_theatre(world)
    for turn in range(LINES // 100):
        made.bring_in(world.a_set("general", f"KG-{turn}"), opened_already=Opened("other", "S. Scrub"))
    made.begin("First")
    made.accept("First")
    made.count_right("First")
    made.close("First")
    made.begin("Cavity")
    return made


@pytest.mark.django_db
def test_three_hundred_lines(world: World) -> None:
    theatre = of_three_hundred_lines(world)
    lines = len(theatre.state().lines)
    assert lines > LINES
    print()
    tell(f"a count of {lines} lines: its picture", median_of(theatre.state, 5))
    tell("the same as JSON", median_of(lambda: json.dumps(as_json(theatre.state())), 5))
    tell("one entry", median_of(lambda: theatre.count("Cavity", "Gauze", 0), 5))
    tell("all packs accepted", timed(lambda: theatre.accept("Cavity"))[0])
    tell("a stage's content to sign", median_of(lambda: stage_content(theatre.stage("First")), 5))


# From the touch to the first frame that shows it, as the page itself sees it.
TAPS = """async (times) => {
    const painted = () => new Promise((done) => requestAnimationFrame(() => {
        const { port1, port2 } = new MessageChannel();
        port1.onmessage = () => done(performance.now());
        port2.postMessage(null);
    }));
    const spent = [];
    for (let turn = 0; turn < times; turn += 1) {
        const begun = performance.now();
        document.getElementById("key-1").click();
        spent.push(await painted() - begun);
    }
    return spent;
}"""


@pytest.mark.browser
@pytest.mark.usefixtures("committing")
def test_from_tap_to_paint(world: World, live_server: Any, chromium: Any) -> None:
    theatre = of_three_hundred_lines(world)
    client = Client()
    client.force_login(world.cast.circulating, backend="django.contrib.auth.backends.ModelBackend")
    cookie = client.cookies[settings.SESSION_COOKIE_NAME].value
    for name, size in (("1280 px wide", (1280, 900)), ("a tablet", (820, 1180))):
        context = chromium.new_context(
            base_url=live_server.url, viewport={"width": size[0], "height": size[1]}
        )
        context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": cookie, "url": live_server.url}])
        page = context.new_page()
        page.goto(f"/theatre/{theatre.case.pk}/count/")
        page.locator("#key-1").wait_for()
        lines = page.locator("#board tbody tr").count() + page.locator(".packs button").count()
        spent = sorted(page.evaluate(TAPS, 60))
        page.locator('[data-panel="differs"]').click()
        page.locator("#panel").wait_for()
        with_lines = sorted(page.evaluate(TAPS, 60))
        tell(
            f"tap to paint, {name}, {lines} rows on the page", spent[30] / 1000, f"slowest {spent[-1]:.1f} ms"
        )
        tell("the same with a pack's lines open", with_lines[30] / 1000, f"slowest {with_lines[-1]:.1f} ms")
        context.close()
    for guard in registered():
        remove(connection, guard)
