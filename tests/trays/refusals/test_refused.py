"""Refused scans: the list for those who look after it, and forgetting after their time."""

from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from tests.world import World
from trays.refusals.models import RefusedScan
from trays.refusals.services import Where, scan_refuse, scans_forget
from trays.refusals.tables import SHOWN, shown


def refuse(world: World, code: str, raw: bytes = b"x", *, days_ago: int = 0, **where: Any) -> RefusedScan:
    return scan_refuse(
        raw=raw,
        code=code,
        sentence=f"Refused as {code}.",
        by=world.cast.stores,
        where=Where(**({"site": world.site} | where)),
        at=timezone.now() - timedelta(days=days_ago),
    )


def page(client: Any, query: str = "") -> str:
    return str(client.get(f"/refused-scans/{query}").content.decode())


def test_they_are_listed_newest_first_with_what_came_and_why(world: World, as_person: Any) -> None:
    refuse(
        world, "not-found", b"(01)\x1d<b>", days_ago=1, workstation="Left PC", page="/stock/", how="scanner"
    )
    refuse(world, "unknown-item")
    listed = page(as_person("quality"))
    assert listed.index("unknown-item") < listed.index("Refused as not-found.")
    for said in ("(01)␝&lt;b&gt;", "Left PC · /stock/", "Scanner", "S. Stores", "2 scans were refused"):
        assert said in listed


def test_they_can_be_narrowed_to_a_reason_or_a_way(world: World, as_person: Any) -> None:
    refuse(world, "not-found", how="typed")
    refuse(world, "unknown-item", how="camera")
    client = as_person("stores")
    only = page(client, "?code=not-found")
    assert "Refused as not-found." in only and "Refused as unknown-item." not in only
    assert "unknown-item (1)" in only
    assert "Refused as not-found." not in page(client, "?how=camera")
    assert "Refused as not-found." in page(client, "?how=owl&code=")


def test_a_device_whose_clock_is_wrong_stands_out(world: World, as_person: Any) -> None:
    refuse(world, "right-clock", device_at=timezone.now())
    refuse(world, "wrong-clock", device_at=timezone.now() - timedelta(hours=5))
    lines = page(as_person("quality")).split("<tr")
    assert "agrees" in next(line for line in lines if "right-clock" in line and "<td" in line)
    assert "agrees" not in next(line for line in lines if "wrong-clock" in line and "<td" in line)


def test_each_site_sees_its_own(world: World, as_person: Any) -> None:
    refuse(world, "ours")
    refuse(world, "theirs", site=world.far_site)
    assert "Refused as ours." in page(as_person("quality")) and "theirs" not in page(as_person("quality"))
    assert as_person("quality").get("/refused-scans/?site=fennside").status_code == 404
    assert "Refused as theirs." in page(as_person("keeper"), "?site=fennside")


def test_the_file_of_them_starts_no_formula(world: World, as_person: Any) -> None:
    refuse(world, "not-found", b"=1+1")
    lines = as_person("quality").get("/refused-scans/?as=csv").content.decode("utf-8-sig")
    assert "=1+1" in lines and ",=1+1" not in lines and ";=1+1" not in lines


def test_the_page_asks_the_database_as_often_for_many_as_for_one(
    world: World, as_person: Any, django_assert_num_queries: Any
) -> None:
    client = as_person("quality")
    refuse(world, "not-found")
    client.get("/refused-scans/")
    for _ in range(2):
        with django_assert_num_queries(7):
            client.get("/refused-scans/")
        for number in range(60):
            refuse(world, f"reason-{number}")


@pytest.mark.parametrize(
    ("raw", "text"),
    [
        (b"", ""),
        (b"\x00\x1d\x1f", "␀␝␟"),
        (b"\xff\xfe", "\\xff\\xfe"),
        ("ﬀ\u202e\x7f".encode(), "ﬀ\\u202e␡"),
        (b"x" * 4096, "x" * (SHOWN - 1) + "…"),
    ],
)
def test_any_bytes_are_shown_in_one_printable_line(raw: bytes, text: str) -> None:
    assert shown(raw) == text


def test_what_is_too_long_is_cut_and_kept(world: World) -> None:
    row = refuse(world, "c" * 99, b"\x00" * 9000, page="/" + "p" * 400, workstation="w" * 99)
    row.refresh_from_db()
    assert (len(row.raw), len(row.code), len(row.page), len(row.workstation)) == (4096, 60, 200, 60)


# Forgetting


def forget(**options: Any) -> str:
    told = StringIO()
    call_command("forget_old_scans", stdout=told, **options)
    return told.getvalue()


def test_old_scans_are_forgotten_after_their_time_and_no_other(world: World, settings: Any) -> None:
    settings.SCANS_KEPT_DAYS = 90
    for days in (0, 89, 91, 400):
        refuse(world, f"old-{days}", days_ago=days)
    assert "2 refused scans" in forget()
    assert set(RefusedScan.objects.values_list("code", flat=True)) == {"old-0", "old-89"}
    assert "1 refused scans" in forget(days=30)
    assert forget(days=30).startswith("0 ")


def test_many_are_forgotten_in_bounded_steps(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("trays.refusals.services._AT_ONCE", 2)
    for number in range(5):
        refuse(world, f"c{number}", days_ago=100)
    assert scans_forget(before=timezone.now()) == 5


@pytest.mark.parametrize("days", [0, -1, 5000])
def test_a_time_that_is_none_is_refused(world: World, days: int) -> None:
    refuse(world, "not-found", days_ago=100)
    with pytest.raises(CommandError, match="Days to keep are 1 to"):
        forget(days=days)
    assert RefusedScan.objects.exists()
