"""Runs of many labels: files of a thousand, progress, one press one run, and nothing by halves."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.urls import reverse

from tests.trays.symbols import rendering
from tests.world import NOW, World
from trays.identifiers import ours
from trays.labels import runs, services, views
from trays.labels.models import LabelFile, LabelRun
from trays.labels.services import label_order, labels_print, order_begin, run_make
from trays.labels.tasks import make_labels
from trays.ledger.models import Event
from trays.places.models import Place
from trays.staff.models import Person
from trays.web.errors import Refusal

GLN = ours.gln("9521234", "31")


@pytest.fixture
def shelves(world: World) -> list[int]:
    """Sixty shelves; every tenth has no location number."""
    made = Place.objects.bulk_create(
        Place(
            site=world.site,
            code=f"N{n:02d}",
            name=f"Bay {n}",
            kind=Place.Kind.SHELF,
            walk=n,
            gln="" if n % 10 == 9 else GLN,
            extension=f"N{n:02d}",
        )
        for n in range(60)
    )
    return [place.pk for place in made]


@pytest.fixture
def small_files(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files of twenty-five instead of a thousand."""
    monkeypatch.setattr(runs, "LABELS_PER_FILE", 25)
    for module in (services, views):
        monkeypatch.setattr(module, "MOST_IN_ONE_FILE", 25)


def order(by: Person, ids: list[int], **changes: Any) -> services.Order:
    return label_order(**{"by": by, "kind": "shelf", "ids": ids, "stock": "roll-203", **changes})


def read(files: list[LabelFile], dpi: int) -> Iterator[list[str]]:
    for file in files:
        pages = rendering.pages(bytes(file.pdf), dpi)
        yield [seen.text for page in pages for seen in rendering.read(page) if seen.identifier == "]d2"]


def test_a_run_is_cut_into_files_in_order_and_recorded_once(
    world: World, shelves: list[int], small_files: None
) -> None:
    run = order_begin(order=order(world.cast.stores, shelves), at=NOW)
    assert (run.state, run.files.count()) == (LabelRun.State.WAITING, 0)
    run_make(run=run, at=NOW)
    run.refresh_from_db()
    assert (run.state, run.labels, run.done) == (LabelRun.State.MADE, 54, 60)
    assert [file.labels for file in run.files.all()] == [25, 25, 4]
    codes = [text for texts in read(list(run.files.all()), 203) for text in texts]
    assert codes == [ours.place(GLN, f"N{n:02d}") for n in range(60) if n % 10 != 9]
    assert len(run.refused) == 6 and "no location number" in run.refused[0]["why"]
    event = Event.objects.get(verb="label.print")
    assert event.lines.count() == 54 and event.actor == world.cast.stores


def test_on_sheets_a_file_ends_with_a_full_sheet_and_the_test_page_is_the_last_s(
    world: World, shelves: list[int], small_files: None
) -> None:
    run = order_begin(order=order(world.cast.stores, shelves, stock="a4", start=5), at=NOW)
    run_make(run=run, at=NOW)
    files = list(run.files.all())
    assert [file.labels for file in files] == [20, 24, 10]
    assert [len(rendering.pages(bytes(file.pdf), 72)) for file in files] == [1, 1, 2]


def test_the_first_sheet_alone_is_part_used(world: World, shelves: list[int], small_files: None) -> None:
    run = order_begin(order=order(world.cast.stores, shelves, stock="a4", start=24), at=NOW)
    run_make(run=run, at=NOW)
    assert [file.labels for file in run.files.all()] == [1, 24, 24, 5]


def test_progress_is_saved_while_files_are_made(
    world: World, shelves: list[int], small_files: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen = []
    keep = services._keep

    def kept(run: LabelRun, file: runs.File) -> None:
        seen.append(tuple(LabelRun.objects.values_list("state", "done", "labels").get(pk=run.pk)))
        keep(run, file)

    monkeypatch.setattr(services, "_keep", kept)
    run_make(run=order_begin(order=order(world.cast.stores, shelves), at=NOW), at=NOW)
    assert [state for state, _done, _labels in seen] == ["making"] * 3
    assert [labels for _state, _done, labels in seen] == [0, 25, 50]


def test_a_run_that_breaks_leaves_no_file_and_no_event(
    world: World, shelves: list[int], small_files: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_args: Any, **_kwargs: Any) -> None:
        raise OSError("no room on the disk")

    monkeypatch.setattr(services, "_finish", broken)
    run = order_begin(order=order(world.cast.stores, shelves), at=NOW)
    with pytest.raises(OSError, match="no room"):
        run_make(run=run, at=NOW)
    run.refresh_from_db()
    assert run.state == LabelRun.State.FAILED and "could not be made" in run.said
    assert not LabelFile.objects.exists() and not Event.objects.filter(verb="label.print").exists()


def test_a_run_of_which_nothing_can_be_made_says_so(world: World, shelves: list[int]) -> None:
    Place.objects.update(gln="")
    run = run_make(run=order_begin(order=order(world.cast.stores, shelves), at=NOW), at=NOW)
    assert run.state == LabelRun.State.FAILED and "no location number" in run.said
    assert not LabelFile.objects.exists() and not Event.objects.filter(verb="label.print").exists()


def test_one_press_is_one_run_however_often_it_arrives(world: World, shelves: list[int]) -> None:
    key = uuid4()
    first, again = (
        labels_print(by=world.cast.stores, kind="shelf", ids=ids, stock="roll-203", at=NOW, client_key=key)
        for ids in (shelves[:5], list(reversed(shelves[:5])))
    )
    assert (first.run_id, first.pdf) == (again.run_id, again.pdf)
    assert Event.objects.filter(verb="label.print").count() == 1 and LabelRun.objects.count() == 1


@pytest.mark.parametrize(
    "changes", [{"ids": 6}, {"stock": "roll-300"}, {"carrier": "gs1-128"}, {"who": "technician"}]
)
def test_another_order_from_the_same_page_is_another_run(
    world: World, shelves: list[int], changes: dict[str, Any]
) -> None:
    key = uuid4()
    for change in ({}, changes):
        labels_print(
            by=getattr(world.cast, change.get("who", "stores")),
            kind="shelf",
            ids=shelves[: change.get("ids", 5)],
            stock=change.get("stock", "roll-203"),
            carrier=change.get("carrier", "datamatrix"),
            at=NOW,
            client_key=uuid4() if "who" in change else key,
        )
    assert LabelRun.objects.count() == Event.objects.filter(verb="label.print").count() == 2


def test_a_run_is_begun_once_and_made_once(world: World, shelves: list[int], small_files: None) -> None:
    key = uuid4()
    begun = [order_begin(order=order(world.cast.stores, shelves, client_key=key), at=NOW) for _ in range(2)]
    assert begun[0] == begun[1]
    for run in begun:
        run_make(run=run, at=NOW)
    assert LabelFile.objects.count() == 3 and Event.objects.filter(verb="label.print").count() == 1


def test_files_are_kept_for_a_week(world: World, shelves: list[int]) -> None:
    key = uuid4()
    ask = {"by": world.cast.stores, "kind": "shelf", "ids": shelves[:2], "stock": "a4", "client_key": key}
    labels_print(at=NOW, **ask)
    order_begin(order=order(world.cast.stores, shelves), at=NOW + timedelta(days=8))
    assert not LabelFile.objects.exists()
    with pytest.raises(Refusal) as gone:
        labels_print(at=NOW, **ask)
    assert gone.value.code == "file-gone"


def test_too_many_at_once_are_refused(world: World, small_files: None, shelves: list[int]) -> None:
    with pytest.raises(Refusal) as refused:
        labels_print(by=world.cast.stores, kind="shelf", ids=shelves, stock="a4", at=NOW)
    assert refused.value.code == "too-many-labels"
    with pytest.raises(Refusal):
        order(world.cast.stores, list(range(1, 20_002)))


def test_labels_of_two_sites_are_printed_one_site_at_a_time(world: World, shelves: list[int]) -> None:
    Place.objects.filter(pk=shelves[0]).update(site=world.far_site)
    with pytest.raises(Refusal) as refused:
        order(world.cast.keeper, shelves[:3])
    assert refused.value.code == "labels-of-two-sites"


# Pages


def press(client: Any, ids: list[int], **changes: Any) -> Any:
    data = {"kind": "shelf", "site": "larkmere", "stock": "roll", "dpi": "203", "ids": ids, **changes}
    return client.post(reverse("labels-pdf"), data)


def test_many_labels_go_to_the_worker_and_the_page_shows_how_far_it_is(
    world: World, as_person: Any, shelves: list[int], small_files: None
) -> None:
    client = as_person("stores")
    answer = press(client, shelves, client_key=str(uuid4()))
    (run,) = LabelRun.objects.all()
    url = reverse("label-run", args=[run.pk])
    assert (answer.status_code, answer["Location"]) == (303, url)
    LabelRun.objects.filter(pk=run.pk).update(state="making", done=25)
    page = client.get(url).content.decode()
    assert "25 of 60 labels are made." in page and "every 2s" in page and ".pdf" not in page
    part = {"HTTP_HX_REQUEST": "true", "HTTP_HX_TARGET": "progress"}
    assert "<progress" in client.get(url, **part).content.decode()
    assert client.get(reverse("label-file", args=[run.pk, 1])).status_code == 404
    LabelRun.objects.filter(pk=run.pk).update(state="waiting")
    assert make_labels.call(run.pk) == "made"
    assert client.get(url, **part).headers["HX-Refresh"] == "true"
    page = client.get(url).content.decode()
    assert "54 labels are made." in page and page.count(".pdf") == 3
    assert "X 0.375 mm" in page and "6 lines got none" in page
    file = client.get(reverse("label-file", args=[run.pk, 3]))
    assert file["Content-Type"] == "application/pdf"
    assert len(rendering.pages(file.content, 72)) == 4


@pytest.mark.django_db
def test_a_run_that_is_gone_is_left_alone() -> None:
    assert make_labels.call(987654) == "gone"


def test_a_run_is_seen_by_who_printed_it_and_by_the_keeper_only(
    world: World, as_person: Any, shelves: list[int]
) -> None:
    made = labels_print(by=world.cast.stores, kind="shelf", ids=shelves[:2], stock="a4", at=NOW)
    for who, status in (("stores", 200), ("keeper", 200), ("technician", 404), ("scrub", 404)):
        for url in (
            reverse("label-run", args=[made.run_id]),
            reverse("label-file", args=[made.run_id, 1]),
        ):
            assert as_person(who).get(url).status_code == status


def test_pressing_twice_answers_with_the_same_file(world: World, as_person: Any, shelves: list[int]) -> None:
    client, key = as_person("stores"), str(uuid4())
    first, again = (press(client, shelves[:3], client_key=key) for _ in range(2))
    assert first.content == again.content and first["Content-Type"] == "application/pdf"
    assert Event.objects.filter(verb="label.print").count() == 1


def test_the_page_remembers_the_printer_for_each_kind(
    world: World, as_person: Any, shelves: list[int]
) -> None:
    client = as_person("stores")
    press(client, shelves[:1], dpi="600", stock="roll-57x32")
    page = client.get(reverse("labels"), {"kind": "shelf"}).content.decode()
    assert '<option value="roll-57x32" selected' in page
    other = client.get(reverse("labels"), {"kind": "pack"}).content.decode()
    assert '<option value="pack-roll" selected' in other
