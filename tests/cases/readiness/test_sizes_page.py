"""The page of a case's sizes, and that what is imported moves it."""

from __future__ import annotations

import re
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from cases.bookings.models import Case
from cases.forecasts.models import Outcome
from cases.readiness.matrix import FITS, REFUSED, UNKNOWN, Square, square_picture
from tests.world import World
from trays.catalogue.models import FitRule
from trays.stock.models import Unit

XRAY = "xray_template"


def tomorrow() -> date:
    return timezone.now().date() + timedelta(days=1)


@pytest.fixture
def case(world: World) -> Case:
    world.stock_everything(2)
    world.sets_of_each(2)
    # Dates in the world are fixed; pages ask the clock.
    Unit.objects.update(expires=None)
    return world.a_case(predictions={"femoral": (1, 1), "tibial": (1, 1)}, day=tomorrow(), reference="NEXT-1")


def words(response: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))


def figures(response: Any, title: str) -> list[list[str]]:
    """The rows of the table that stands for the picture of this title."""
    text = response.content.decode()
    start = text.index(f'aria-label="{title}, in figures"')
    body = text[text.index("<tbody>", start) : text.index("</tbody>", start)]
    rows = re.findall(r"<tr>(.*?)</tr>", body)
    return [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in rows]


FEMORAL = "Femoral, right: likelihood and stock by size"
ERRORS = "Femoral, right: how far what is used lies from what was predicted"
PAIRS = "Femoral with Tibial, right: likelihood of each pair of sizes"


def likelihoods(response: Any) -> dict[str, str]:
    return {row[0]: row[1] for row in figures(response, FEMORAL)}


def history(world: World, count: int, *, up: int) -> bytes:
    """A file of outcomes, each so many sizes larger than predicted."""
    lines = ["site,reference,slot,component,used_on,method,planner,predicted_size"]
    for n in range(count):
        day = (timezone.now() - timedelta(days=60 - n)).date()
        used = world.component("femoral", str(2 + up), side="right").code
        lines.append(f"larkmere,OLD-{n},femoral,{used},{day},{XRAY},{world.cast.surgeon.username},2")
    return "\n".join(lines).encode()


def test_thirty_imported_outcomes_one_size_up_shift_the_next_cases_page(
    world: World, case: Case, as_person: Any
) -> None:
    page = reverse("case-sizes", args=[case.pk])
    keeper = as_person("keeper")
    before = keeper.get(page)
    assert "No outcome of this slot and method is on file yet" in words(before)
    assert int(likelihoods(before)["2"]) > int(likelihoods(before)["3"])

    file = SimpleUploadedFile("outcomes.csv", history(world, 30, up=1))
    run = keeper.post(reverse("import-new"), {"kind": "outcomes", "file": file}).url
    assert keeper.post(run, {"act": "apply"}).status_code == 303
    assert Outcome.objects.count() == 30

    after = keeper.get(page)
    assert int(likelihoods(after)["3"]) > int(likelihoods(before)["3"]) + 30
    assert int(likelihoods(after)["2"]) < int(likelihoods(before)["2"]) - 15
    said = words(after)
    assert (
        f"Learnt since from 30 outcomes of {world.cast.surgeon.name} by this method, and 0 of others" in said
    )
    assert "0.7 sizes larger than the one predicted" in said
    # The case's own page and its pick follow.
    picture = figures(keeper.get(reverse("case", args=[case.pk])), FEMORAL)
    assert {row[0]: row[1] for row in picture} == likelihoods(after)


def test_the_page_shows_law_stock_and_pairs_as_tables_too(world: World, case: Case, as_person: Any) -> None:
    FitRule.objects.filter(
        family_a=world.families["femoral"], family_b=world.families["tibial"], rank_a=2, rank_b=2
    ).delete()
    response = as_person("coordinator").get(reverse("case-sizes", args=[case.pk]))
    assert response.status_code == 200
    size_two = {row[0]: row for row in figures(response, FEMORAL)}["2"]
    # Owned, consigned, loaned, held for this case, for another, short-dated, on order, can use.
    assert size_two[2:10] == ["2", "0", "0", "0", "0", "0", "0", "2"]
    errors = {row[0]: row[1:] for row in figures(response, ERRORS)}
    assert errors["0"] == ["35", "35"]
    pairs = {row[0]: row[1:] for row in figures(response, PAIRS)}
    assert pairs["1"][2] == "does not fit"
    assert "no rule on file" in pairs["3"][2]
    assert pairs["2"][-1] == "2"
    assert "only the rules join" in words(response)


def pairs_on_file(world: World, count: int, *, together: bool) -> None:
    rng = np.random.default_rng(3)
    errors = rng.integers(-1, 2, size=(count, 2))
    if together:
        errors[:, 1] = errors[:, 0]
    Outcome.objects.bulk_create(
        Outcome(
            site=world.site, reference=f"P{n}", slot=slot, method=XRAY, predicted_rank=1,
            planner=world.cast.surgeon, used_on=tomorrow() - timedelta(days=2 + n),
            component=world.component(slot, str(2 + error), side=side),
        )
        for n, row in enumerate(errors.tolist())
        for slot, error, side in zip(("femoral", "tibial"), row, ("right", "none"), strict=True)
    )  # fmt: skip


def diagonal(response: Any) -> float:
    """In how many of 100 femoral and tibial size are alike."""
    rows = figures(response, PAIRS)
    return sum(float(row[1 + n].replace("&lt;1", "0.2").replace("–", "0")) for n, row in enumerate(rows[:-1]))


@pytest.mark.parametrize(
    ("count", "together", "used"), [(60, True, True), (49, True, False), (80, False, False)]
)
def test_pairs_of_sizes_go_together_only_if_that_foretold_better_over_fifty_cases(
    world: World, case: Case, as_person: Any, count: int, together: bool, used: bool
) -> None:
    page = reverse("case-sizes", args=[case.pk])
    pairs_on_file(world, count, together=together)
    response = as_person("coordinator").get(page)
    assert ("taken together, larger with larger" in words(response)) == used
    assert (diagonal(response) > 65) == used


def test_a_case_whose_rules_leave_nothing_says_so(world: World, case: Case, as_person: Any) -> None:
    FitRule.objects.update(verdict="refused")
    response = as_person("coordinator").get(reverse("case-sizes", args=[case.pk]))
    assert response.status_code == 200
    assert "leave no combination of sizes" in words(response)


def test_the_page_takes_a_fixed_number_of_queries(
    world: World, case: Case, as_person: Any, django_assert_max_num_queries: Any
) -> None:
    client = as_person("coordinator")
    page = reverse("case-sizes", args=[case.pk])
    client.get(page)
    with django_assert_max_num_queries(40) as few:
        client.get(page)
    pairs_on_file(world, 60, together=True)
    for n in range(6):
        world.a_case(predictions={"femoral": (1, 2)}, day=tomorrow() + timedelta(days=n))
    with django_assert_max_num_queries(len(few)):
        client.get(page)


def test_a_square_leaves_out_sizes_that_are_next_to_impossible_and_marks_every_pair() -> None:
    chance = np.array([[0.0, 0.0, 0.0], [0.0, 0.5, 0.2], [0.0, 0.3, 0.0]])
    verdict = ((REFUSED,) * 3, (REFUSED, FITS, UNKNOWN), (REFUSED, FITS, REFUSED))
    square = Square(("1", "2", "3"), ("4", "5", "6"), chance, verdict, (0, 1, 2), (3, 4, 5))
    picture = square_picture(title="T", row="A", column="B", square=square, key="j1")
    assert picture.heads == ("A", "B 5", "B 6", "Can use")
    assert picture.rows == (
        ("2", "50", "20, no rule on file", "1"),
        ("3", "30", "does not fit", "2"),
        ("Can use", "4", "5", ""),
    )
    assert [shape.css for shape in picture.shapes if shape.css in ("like", "like-gap", "post")] == [
        "like", "like-gap", "like", "post",
    ]  # fmt: skip
    assert (
        "Likeliest pair: A 2 with B 5, 50 in 100. 1 pairs do not fit, 1 have no rule on file." == picture.desc
    )
