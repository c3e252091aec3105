"""The import pages: hand in a file, see its faults where they stand, apply it by a press."""

import io
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from cases.desks import views_imports
from cases.desks.tasks import apply_waiting, check_waiting
from tests.cases.imports.conftest import table
from trays.exchange.models import ImportRun
from trays.stock.models import Unit

GOOD = table(
    {
        "component": "fem-2-x-left", "lot": "A1", "owner": "LOC", "tenure": "owned", "site": "larkmere",
        "place": "S1", "received": "2026-01-02 10:00", "quantity": "2",
    }
)  # fmt: skip


@pytest.fixture
def stores(client, world):
    client.force_login(world.cast.stores)
    return client


def hand_in(client, raw, *, kind="units", name="units.csv", **more):
    return client.post(reverse("import-new"), {"kind": kind, "file": SimpleUploadedFile(name, raw), **more})


def test_a_good_file_is_checked_then_applied(stores):
    answer = hand_in(stores, GOOD)
    run = ImportRun.objects.get()
    assert answer.status_code == 303
    assert answer.url == reverse("import-run", args=[run.pk])
    page = stores.get(answer.url).content.decode()
    assert "1 row, no faults" in page
    assert "<h1>Sealed units</h1>" in page
    assert not Unit.objects.exists()
    assert stores.post(answer.url, {"act": "apply"}).status_code == 303
    assert Unit.objects.count() == 2
    assert "1 row was applied" in stores.get(answer.url).content.decode()
    assert stores.post(answer.url, {"act": "apply"}).status_code == 409
    assert Unit.objects.count() == 2


def test_faults_are_shown_by_row_and_column_and_can_be_had_as_a_file(stores):
    raw = GOOD.replace(b"fem-2-x-left", b"fem-77").replace(b",2\r\n", b",two\r\n")
    url = hand_in(stores, raw).url
    page = stores.get(url).content.decode()
    assert "<td" in page
    assert "two" in page
    assert 'value="apply"' not in page
    csv = stores.get(url + "?as=csv").content.decode()
    assert "quantity" in csv
    assert stores.post(url, {"act": "apply"}).status_code == 409
    assert not Unit.objects.exists()


def test_the_page_explains_the_columns_of_the_kind_asked_for(stores):
    page = stores.get(reverse("import-new") + "?kind=piles").content.decode()
    assert "Piles of consumables" in page
    assert all(name in page for name in ("component", "expires", "quantity"))
    assert stores.get(reverse("import-new") + "?kind=%00").status_code == 200
    assert "lead_working_days" not in stores.get(reverse("import-new") + "?kind=parties").content.decode()


def test_setting_aside(stores):
    url = hand_in(stores, GOOD).url
    stores.post(url, {"act": "set-aside"})
    assert ImportRun.objects.get().state == "set_aside"
    assert stores.post(url, {"act": "apply"}).status_code == 409


def bomb() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", "<workbook/>")
        packed.writestr("xl/worksheets/sheet1.xml", b" " * 50_000_000)
    return out.getvalue()


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"a" * (50 * 1024 * 1024), "50 MB"),
        (bomb(), "unpack"),
        (b"%PDF-1.7", "PDF"),
        (b"", "empty"),
        (b"\x00\x01\x02\x03" * 100, "not a table"),
    ],
    ids=["50 MB", "zip bomb", "PDF", "empty", "NUL"],
)
def test_what_cannot_be_taken_is_said_on_the_page_and_makes_no_run(stores, raw, said):
    answer = hand_in(stores, raw, name="units.xlsx")
    assert answer.status_code == 422
    page = answer.content.decode()
    assert said in page
    assert '<option value="units" selected' in page
    assert not ImportRun.objects.exists()


def test_a_form_without_a_file_or_with_a_strange_kind(stores):
    assert stores.post(reverse("import-new"), {"kind": "units"}).status_code == 422
    assert hand_in(stores, GOOD, kind="parties").status_code == 422
    assert hand_in(stores, GOOD, kind="\x00").status_code == 422


def test_a_large_file_is_checked_by_the_worker_and_the_page_says_how_far(stores, monkeypatch):
    monkeypatch.setattr(views_imports, "AT_ONCE_BYTES", 10)
    waiting = []
    monkeypatch.setattr(type(check_waiting), "enqueue", lambda task, pk: waiting.append(pk))
    url = hand_in(stores, GOOD).url
    run = ImportRun.objects.get()
    assert waiting == [run.pk]
    assert "being checked" in stores.get(url).content.decode()
    part = {"HTTP_HX_REQUEST": "true", "HTTP_HX_TARGET": "progress"}
    assert b"hx-trigger" in stores.get(url, **part).content
    assert check_waiting.call(run.pk) == "checked"
    answer = stores.get(url, **part)
    assert (answer.status_code, answer["HX-Refresh"]) == (204, "true")
    assert check_waiting.call(run.pk) == "checked"
    assert check_waiting.call(run.pk + 1) == "gone"


def test_the_same_file_again_is_told_even_before_its_faults(stores):
    first = hand_in(stores, GOOD).url
    stores.post(first, {"act": "apply"})
    page = stores.get(hand_in(stores, GOOD).url).content.decode()
    assert "This very file was applied before" in page
    assert "on file already" in page


def test_one_sees_the_files_one_handed_in_the_keeper_all(stores, client, world):
    url = hand_in(stores, GOOD).url
    client.force_login(world.cast.coordinator)
    assert client.get(url).status_code == 404
    client.force_login(world.cast.keeper)
    assert client.get(url).status_code == 200
    client.force_login(world.cast.scrub)
    assert client.get(reverse("imports")).status_code == 403
    assert client.get(reverse("import-new")).status_code == 403


def test_templates_are_for_those_who_may_import_the_kind(stores, client, world):
    for ext, start in (("csv", b"\xef\xbb\xbfcomponent"), ("xlsx", b"PK")):
        answer = stores.get(reverse("import-template", args=["units", ext]))
        assert answer.content.startswith(start)
        assert f'"units.{ext}"' in answer["Content-Disposition"]
    assert stores.get(reverse("import-template", args=["units", "pdf"])).status_code == 404
    assert stores.get(reverse("import-template", args=["parties", "csv"])).status_code == 404
    assert stores.get(reverse("import-template", args=["nothing", "csv"])).status_code == 404


def test_the_list_takes_few_queries_however_many_files(stores, world, django_assert_max_num_queries):
    for number in range(30):
        ImportRun.objects.create(
            kind="units",
            file_name=f"{number}.csv",
            by=world.cast.stores,
            at="2026-01-01T00:00Z",
            state="checked",
        )
    with django_assert_max_num_queries(15):
        page = stores.get(reverse("imports")).content.decode()
    assert "30 files are checked and wait" in page
    assert "29.csv" in page


def test_a_file_can_be_tried_without_saving(stores):
    url = hand_in(stores, GOOD).url
    page = stores.post(url, {"act": "try"}, follow=True).content.decode()
    assert "1 rows would record 2 things. Nothing is saved." in page
    assert not Unit.objects.exists()
    assert "no faults" in page


def test_a_long_file_is_applied_by_the_worker_and_the_page_waits(stores, world, monkeypatch):
    monkeypatch.setattr(views_imports, "AT_ONCE_ROWS", 0)
    waiting = []
    monkeypatch.setattr(type(apply_waiting), "enqueue", lambda task, *given: waiting.append(given))
    url = hand_in(stores, GOOD).url
    stores.post(url, {"act": "apply"})
    run = ImportRun.objects.get()
    assert waiting == [(run.pk, world.cast.stores.pk)]
    assert "is being applied" in stores.get(url).content.decode()
    assert stores.post(url, {"act": "apply"}).status_code == 409
    assert apply_waiting.call(run.pk, world.cast.stores.pk) == "applied"
    assert Unit.objects.count() == 2
    assert apply_waiting.call(run.pk + 1, world.cast.stores.pk) == "gone"
