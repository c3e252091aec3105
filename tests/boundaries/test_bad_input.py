"""Whatever is typed, scanned, sent or handed in: a plain answer, nothing half-saved, never a failure.

The client raises what a view raises, so that each request here is also a test that nothing fails.
"""

import base64
import json
import os
import re
from collections.abc import Iterable
from datetime import timedelta
from typing import Any
from urllib.parse import quote, urlencode

import pytest
from django.apps import apps
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from cases.bookings.models import Case
from cases.picks.models import PickLine, PickList
from cases.reservations.models import Hold
from tests.boundaries.doors import DOORS, given
from tests.cast import PASSWORD
from tests.world import World, gtin
from trays.refusals.models import RefusedScan
from trays.stock.models import Unit

# What nobody means. Each goes into every field and every part of an address.
NASTY = {
    "null": "a\x00b",
    "null alone": "\x00",
    "group separator": "a\x1db",
    "escape": "\x1b[2J",
    "new lines": "a\r\nSet-Cookie: b=c",
    "right to left": "\u202eabc",
    "half a pair": "\ud800",
    "ten thousand": "x" * 10_000,
    "arabic digits": "\u0661\u0662\u0663",
    "superscript": "\u00b2",
    "huge": str(10**30),
    "beyond 64 bits": str(2**63),
    "five thousand digits": "9" * 5_000,
    "negative": "-1",
    "not a number": "NaN",
    "exponent": "1e400",
    "last day": "9999-12-31",
    "first day": "0001-01-01",
    "no day": "2026-02-30",
    "late": "25:61",
    "markup": "<script>alert(1)</script>",
    "quotes": "';--\"%_\\",
    "template": "{{ settings.SECRET_KEY }}{% debug %}",
}
LONG = os.environ.get("TRAYSPAN_LONG") == "1"
URLENCODED = "application/x-www-form-urlencoded"
# Names that some page reads from its address.
ASKED = (
    "show", "supplier", "when", "kind", "of", "state", "side", "moved", "theatre", "day", "session",
    "sort", "page", "per_page", "as", "next", "sizes-sort", "sizes-page", "units-sort", "units-page",
    "packs-sort", "contents-page", "contents-as",
)  # fmt: skip
# Rows that requests make whatever they hold: sessions, and the refused scans, which are meant to be kept.
PASSING = {"session", "refusedscan", "accessattempt", "accessfailurelog", "accesslog", "migration"}


def rows() -> dict[str, int]:
    """How many rows there are of everything that a person could have meant to save."""
    tables = {
        model.__name__: connection.ops.quote_name(model._meta.db_table)
        for model in apps.get_models()
        if model.__name__.lower() not in PASSING
    }
    each = (f"SELECT '{name}', count(*) FROM {table}" for name, table in tables.items())  # noqa: S608  the project's own tables
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(each))
        return dict(cursor.fetchall())


def some(nasty: Iterable[str], count: int, turn: int) -> list[tuple[str, str]]:
    """So many of them, others from turn to turn; all of them in the long form (TRAYSPAN_LONG=1)."""
    names = list(nasty)
    if not LONG:
        start = turn * count % len(names)
        names = (names + names)[start : start + count]
    return [(name, NASTY[name]) for name in names]


def text_of(answer: Any) -> str:
    return str(answer.content.decode())


def sent(client: Client, url: str, fields: dict[str, Any], **more: Any) -> Any:
    """A form as a device sends it: bytes, which for half a pair are no UTF-8."""
    body = urlencode({name: str(value).encode("utf-8", "surrogatepass") for name, value in fields.items()})
    return client.post(url, body, content_type=URLENCODED, **more)


def address(name: str, furnished: dict[str, Any]) -> str:
    return reverse(name, kwargs={key: furnished[what] for key, what in DOORS[name].kwargs.items()})


@pytest.fixture
def keeper(as_person: Any) -> Client:
    client: Client = as_person("keeper")
    return client


# ---------------------------------------------------------------- addresses

READ = sorted(name for name, door in DOORS.items() if door.post is None and not name.endswith("-pdf"))
IN_AN_ADDRESS = (
    "null", "half a pair", "ten thousand", "arabic digits", "superscript", "beyond 64 bits",
    "five thousand digits", "negative", "last day", "new lines", "markup", "template",
)  # fmt: skip


@pytest.mark.parametrize("name", READ)
def test_no_question_in_an_address_makes_a_page_fail(
    name: str, furnished: dict[str, Any], keeper: Client
) -> None:
    before = rows()
    for _called, nasty in some(IN_AN_ADDRESS, 3, READ.index(name)):
        given = nasty.encode("utf-8", "surrogatepass")
        for asked in ({"site": given}, dict.fromkeys(ASKED, given)):
            answer = keeper.get(address(name, furnished), asked)
            assert answer.status_code in {200, 302, 303, 404}, (nasty[:20], answer.status_code)
            assert "<script>alert(1)" not in answer.content.decode("utf-8", "replace")
    assert rows() == before


@pytest.mark.parametrize("name", sorted(name for name, door in DOORS.items() if door.kwargs))
def test_no_key_in_an_address_makes_a_page_fail(name: str, furnished: dict[str, Any], keeper: Client) -> None:
    """Numbers that no row has, letters where a number stands, signs that no database takes."""
    good = address(name, furnished)
    first = str(furnished[next(iter(DOORS[name].kwargs.values()))])
    start, _key, end = good.partition(f"/{first}/")
    before = rows()
    for _called, nasty in some(NASTY, 4, sorted(DOORS).index(name)):
        url = f"{start}/{quote(nasty.encode('utf-8', 'surrogatepass'), safe='')}/{end}"
        for method in (keeper.get, keeper.post):
            assert method(url).status_code in {404, 405}, url[:80]
    assert rows() == before


@pytest.mark.parametrize("name", sorted(DOORS))
def test_a_method_that_an_address_does_not_know_is_refused(
    name: str, furnished: dict[str, Any], keeper: Client
) -> None:
    client = Client() if name == "sign-in" else keeper
    before = rows()
    for method in ("PUT", "PATCH", "DELETE", "BREW"):
        assert client.generic(method, address(name, furnished)).status_code == 405, method
    assert rows() == before


def test_pages_that_only_read_take_no_form(furnished: dict[str, Any], keeper: Client) -> None:
    taking = {"case-book", "case-change", "case-predict", "case-move", "case-cancel", "list-order"}
    taking |= {"count-sheets", "import-new", "import-run", "scanner", "sign-in", "my-pin"}
    taking |= {"label-paper", "label-paper-new"}
    taking |= {"case-actions", "expiry", "reorder-set-aside", "reorder-used"}
    taking |= {"agreement-count", "loan-ask", "loan-check", "loan-rules"}
    taking |= {"count-template-edit", "count-template-new", "chase-mark", "no-card", "case-avoid"}
    taking |= {"theatre-box-down", "theatre-set-fail", "theatre-sets"}
    before = rows()
    for name in READ:
        if name not in taking:
            assert keeper.post(address(name, furnished), {"site": "larkmere"}).status_code == 405, name
    assert rows() == before


# ---------------------------------------------------------------- forms


def tomorrow(world: World) -> str:
    return (timezone.localdate() + timedelta(days=1)).isoformat()


def forms(world: World, furnished: dict[str, Any]) -> dict[str, tuple[str, dict[str, Any]]]:
    """Each form of the program as it would be sent: its address and its fields."""
    case = Case.objects.get(pk=furnished["case"])
    femoral = f"right-{world.slots['femoral'].pk}"
    slot = case.constructs.get().slots.get(plan_slot=world.slots["femoral"]).pk
    assert world.procedure
    first = {
        "procedure": world.procedure.pk,
        "side": "right",
        "surgeon": world.cast.surgeon.pk,
        "theatre": world.second_theatre.pk,
        "day": tomorrow(world),
        "session": "morning",
    }
    sizes = {"low": "2", "high": "3", "method": "xray_template", "confidence": "80"}
    booked = {
        "step": "book", "reference": "K-100", "position": "", "starts": "09:15", "minutes": "90",
        "urgency": "planned", "planner": "", "client_key": "",
    }  # fmt: skip
    return {
        "book, first step": (reverse("case-book"), {**first, "step": "second"}),
        "book, second step": (
            reverse("case-book"),
            {**first, **booked, **{f"{femoral}-{name}": value for name, value in sizes.items()}},
        ),
        "change": (
            reverse("case-change", args=[case.pk]),
            {
                "reference": "K-200", "surgeon": "", "starts": "10:00", "minutes": "80",
                "urgency": "planned", "client_key": "",
            },
        ),
        "predict": (
            reverse("case-predict", args=[case.pk]),
            {"planner": "", "client_key": "", **{f"slot-{slot}-{name}": v for name, v in sizes.items()}},
        ),
        "move": (
            reverse("case-move", args=[case.pk]),
            {
                "theatre": world.second_theatre.pk, "day": tomorrow(world), "session": "morning",
                "position": "1", "starts": "10:00", "client_key": "",
            },
        ),
        "order": (
            reverse("list-order", args=[case.list_id]),
            {"seen": str(case.pk), "move": f"to {case.pk}", f"to-{case.pk}": "1", "client_key": ""},
        ),
        "cancel": (reverse("case-cancel", args=[case.pk]), {"reason": "", "client_key": ""}),
        "labels": (
            reverse("labels-pdf"),
            {
                "kind": "unit", "site": "larkmere", "of": "", "every": "", "stock": "a4", "start": "1",
                "ids": furnished["unread_unit"],
            },
        ),
        "hand in": (reverse("import-new"), {"kind": "units"}),
        "a file's act": (reverse("import-run", args=[furnished["run"]]), {"act": "look"}),
        "scan": (reverse("scan"), {"code": "K-100", "raw": "", "page": "/stock/", "client_key": ""}),
        "look": (reverse("theme"), {"theme": "dark", "sound": "on", "next": "/stock/"}),
        "pick list": (reverse("pick-list-make", args=[case.pk]), {"client_key": ""}),
        "count sheets": (reverse("count-sheets", args=[case.pk]), {"client_key": ""}),
    }  # fmt: skip


FIRST_STEP = {"procedure", "side", "surgeon", "theatre", "day", "session"}
IN_A_KEY = {"null", "half a pair", "huge", "quotes"}
FORMS = (
    "book, first step", "book, second step", "change", "predict", "move", "order", "cancel", "labels",
    "hand in", "a file's act", "scan", "look", "pick list", "count sheets",
)  # fmt: skip


@pytest.mark.parametrize("name", FORMS)
def test_no_field_of_a_form_makes_it_fail_or_save_by_halves(
    name: str, world: World, furnished: dict[str, Any], keeper: Client
) -> None:
    url, fields = forms(world, furnished)[name]
    before = rows()
    tried = [field for field in fields if not (name == "book, second step" and field in FIRST_STEP)]
    chosen = [(field, one) for turn, field in enumerate(tried) for one in some(NASTY, 5, turn)]
    for field, (called, nasty) in chosen:
        if field != "client_key" or called in IN_A_KEY:
            mark = transaction.savepoint()
            answer = sent(keeper, url, {**fields, field: nasty})
            assert answer.status_code in {200, 303, 404, 409, 422}, (field, called, answer.status_code)
            if answer.status_code != 303 and answer["Content-Type"] != "application/pdf":
                assert rows() == before, (field, called)
            assert "<script>alert(1)" not in answer.content.decode("utf-8", "replace")
            transaction.savepoint_rollback(mark)


# Each field of each address gets so many of them, another part of them from field to field.
AT_EACH_FIELD = 4
# Their forms are tried above with everything, or hold a file.
TRIED_ABOVE = {"scan", "theme", "labels-pdf", "pick-list-make", "count-sheets", "sign-out"}


@pytest.mark.parametrize(
    "name", sorted(name for name, door in DOORS.items() if door.post and name not in TRIED_ABOVE)
)
def test_no_field_that_an_address_takes_makes_it_fail_or_save_by_halves(
    name: str, furnished: dict[str, Any], keeper: Client
) -> None:
    door, url, before = DOORS[name], address(name, furnished), rows()
    fields = given(door, furnished)
    typed = [field for field, value in fields.items() if isinstance(value, str | int)]
    for turn, field in enumerate(typed, start=sorted(DOORS).index(name)):
        for called, nasty in some(NASTY, AT_EACH_FIELD, turn):
            mark = transaction.savepoint()
            if door.json:
                answer = keeper.post(
                    url, json.dumps({**fields, field: nasty}), content_type="application/json"
                )
            else:
                answer = sent(keeper, url, {**fields, field: nasty})
            assert answer.status_code in {200, 204, 303, 400, 404, 409, 422}, (
                field,
                called,
                answer.status_code,
            )
            if answer.status_code in {404, 409, 422}:
                assert rows() == before, (field, called)
            assert "<script>alert(1)" not in answer.content.decode("utf-8", "replace")
            transaction.savepoint_rollback(mark)


def test_a_form_that_is_no_form_is_refused(world: World, keeper: Client) -> None:
    before = rows()
    url = reverse("case-book")
    broken = {
        "application/json": b'{"side": ["right"',
        "multipart/form-data": b"no boundary",
        "multipart/form-data; boundary=x": b"--x\r\nContent-Disposition: form-data; name=",
        "application/x-www-form-urlencoded; charset=utf-7": b"side=+AGE-",
        "application/x-www-form-urlencoded; charset=nothing": b"side=\xff\x00",
        "text/\x01": b"\x00" * 100,
    }
    for kind, body in broken.items():
        # The content type goes past the client, which would encode by it.
        answer = keeper.generic("POST", url, body, content_type="-", CONTENT_TYPE=kind)
        assert answer.status_code in {400, 422}, kind
    too_large = keeper.post(url, b"reference=" + b"x" * 3_000_000, content_type=URLENCODED)
    assert too_large.status_code == 400
    too_many = keeper.post(url, b"a=1&" * 2_000, content_type=URLENCODED)
    assert too_many.status_code == 400
    assert "Nothing was saved" in text_of(too_many)
    assert rows() == before


def test_headers_and_cookies_hold_anything(furnished: dict[str, Any], keeper: Client) -> None:
    url = reverse("stock")
    for nasty in ("\x01", "x" * 4_000, "', '", "%00", "\u0661".encode().decode("latin-1")):
        headers = {
            "HX-Request": "true", "HX-Target": nasty, "HX-Current-URL": nasty, "Accept": nasty,
            "Accept-Language": nasty, "User-Agent": nasty, "Referer": nasty, "If-Modified-Since": nasty,
        }  # fmt: skip
        assert keeper.get(url, headers=headers).status_code == 200
    stranger = Client()
    # A quoted cookie may write any sign as a number, the null too.
    for session in ('"aaaaaaaaaa\\000"', '"\\000"', "x" * 4_000, '"\\377\\376aaaaaaaaaa"'):
        cookies = f"sessionid={session}; csrftoken={session}; theme={session}; messages={session}"
        answer = stranger.get(url, headers={"Cookie": cookies})
        assert answer.status_code == 302, session[:20]


# ---------------------------------------------------------------- signing in


@pytest.mark.parametrize("name", NASTY)
def test_no_name_or_password_makes_signing_in_fail(name: str, world: World) -> None:
    url, nasty = reverse("sign-in"), NASTY[name]
    query = quote(nasty.encode("utf-8", "surrogatepass"))
    for fields in (
        {"username": nasty, "password": PASSWORD},
        {"username": "nobody", "password": nasty},
        {"username": "nobody", "password": "x", "next": nasty},
    ):
        long = {"HTTP_USER_AGENT": "x" * 5_000, "HTTP_ACCEPT": "y" * 5_000}
        answer = sent(Client(), f"{url}?next={query}&{query}={query}", fields, **long)
        assert answer.status_code in {200, 429}
        assert "_auth_user_id" not in answer.client.session


# ---------------------------------------------------------------- what is said of what


def booking(world: World, furnished: dict[str, Any], **changes: Any) -> tuple[str, dict[str, Any]]:
    url, fields = forms(world, furnished)["book, second step"]
    femoral = f"right-{world.slots['femoral'].pk}"
    return url, fields | {name.replace("femoral", femoral): value for name, value in changes.items()}


SAID = {
    "range outside the family": ({"femoral-high": "12"}, "12 is not one of the available choices"),
    "low above high": ({"femoral-low": "4"}, "The lowest size is above the highest"),
    "side missing": ({"side": ""}, "needs a side"),
    "unknown code": ({"procedure": "no-such"}, "not one of the available choices"),
    "duplicate reference": ({"reference": "TAKEN"}, "already a case TAKEN"),
    "null": ({"reference": "A\x00B"}, "Null characters"),
    "control": ({"reference": "A\x07B"}, "letters and figures"),
    "too long": ({"reference": "x" * 10_000}, "at most 40"),
    "far away": ({"day": "9999-12-31"}, "too far away"),
    "the night after the last day": (
        {"day": "9999-12-31", "session": "evening", "starts": "02:00"}, "too far away",
    ),
    "the first day": ({"day": "0001-01-01", "session": "evening", "starts": "00:01"}, "too far away"),
    "huge": ({"minutes": str(10**30)}, "less than or equal to 1440"),
    "a great many figures": ({"minutes": "9" * 5_000}, "whole number"),
    "negative": ({"femoral-confidence": "-1"}, "greater than or equal to 1"),
}  # fmt: skip


@pytest.mark.parametrize("name", SAID)
def test_a_booking_that_cannot_be_is_told_and_what_was_typed_stays(
    name: str, world: World, furnished: dict[str, Any], as_person: Any
) -> None:
    Case.objects.filter(pk=furnished["case"]).update(reference="TAKEN")
    before = rows()
    changes, sentence = SAID[name]
    url, fields = booking(world, furnished, **changes)
    answer = sent(as_person("coordinator"), url, fields)
    page = text_of(answer)
    assert answer.status_code == 422
    assert sentence in page
    assert 'id="faults"' in page
    for field in ("starts", "reference"):
        assert f'value="{fields[field]}"' in page
    assert rows() == before


def test_an_expired_unit_is_never_picked_and_the_page_tells_why(
    world: World, furnished: dict[str, Any], as_person: Any
) -> None:
    """The unit is good on the day the list is made and out of date on the day of the operation."""
    coordinator = as_person("coordinator")
    femoral = world.component("femoral", "2", side="right")
    case = Case.objects.get(pk=furnished["case"])
    Hold.objects.all().delete()
    Unit.objects.filter(component=femoral).update(expires=case.list.day - timedelta(days=1))

    page = text_of(coordinator.get(reverse("case", args=[case.pk])))
    assert re.search(r"expires? ", page)
    made = coordinator.post(reverse("pick-list-make", args=[case.pk]))
    assert made.status_code == 303
    lines = PickLine.objects.filter(pick_list=PickList.objects.get(case=case, replaced_at=None))
    assert lines.filter(unit__isnull=False).exists()
    assert not lines.filter(unit__component=femoral).exists()
    assert not lines.filter(unit__expires__lt=case.list.day).exists()
    told = text_of(coordinator.get(made["Location"]))
    assert "Femoral 2" in told

    # On its last day it is still good.
    Unit.objects.filter(component=femoral).update(expires=case.list.day)
    coordinator.post(reverse("pick-list-make", args=[case.pk]))
    lines = PickLine.objects.filter(pick_list=PickList.objects.get(case=case, replaced_at=None))
    assert lines.filter(unit__component=femoral).exists()


# ---------------------------------------------------------------- scans


@pytest.mark.parametrize("name", NASTY)
def test_any_scan_is_answered_in_words_and_kept(name: str, world: World, as_person: Any) -> None:
    raw = NASTY[name].encode("utf-8", "surrogatepass")
    client = as_person("circulating")
    refused = 0
    for fields in ({"raw": base64.b64encode(raw).decode()}, {"code": NASTY[name]}):
        answer = sent(client, reverse("scan"), fields)
        page = answer.content.decode()
        assert answer.status_code == 200
        assert 'id="answer"' in page
        assert "\x00" not in page
        refused += 'role="alert"' in page
    kept = list(RefusedScan.objects.order_by("pk"))
    # Two of them are parts of names that are on file, and are answered with those.
    assert len(kept) == refused == (0 if name in {"group separator", "negative"} else 2)
    assert all(bytes(row.raw) == raw[:4096] or len(raw) > 4096 or b"\xff" in row.raw for row in kept[:1])
    assert all(row.sentence.isprintable() and row.by == world.cast.circulating for row in kept)


def test_a_code_that_nobody_knows_is_told_with_the_next_step(world: World, as_person: Any) -> None:
    page = text_of(as_person("stores").post(reverse("scan"), {"code": f"(01){gtin(999)}"}))
    assert f"No component with the code {gtin(999)} is on file" in page
    assert "Ask stores to add it" in page
