"""The oracle vectors, each as one test, and what the runner says of good, wrong and bad folders."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.vectors import HERE, RUN, BadFolderError, differences, read_folder, run_folder
from tests.vectors.__main__ import main

CASES = [
    pytest.param(content["kind"], vector, id=vector["id"])
    for _, content in read_folder(HERE)
    if content["kind"] in RUN
    for vector in content["vectors"]
]


# One field of each kind's answers to put wrong.
WRONG = {
    "q1": "p_cover",
    "q2": "p_all",
    "q4_alloc": "exp_served",
    "q4_level": "S_ready",
    "q6": "sets_needed",
    "q7": "brier_mean",
    "q7_size": "p",
}


@pytest.mark.parametrize(("kind", "vector"), CASES)
def test_the_planner_agrees_with_the_oracle(kind: str, vector: dict[str, object]) -> None:
    assert differences(kind, vector) == []


def test_kinds_that_are_not_built_are_named_and_not_counted_as_agreeing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    vector = {"id": "x", "input": {}, "answer": {}}
    (tmp_path / "new.json").write_text(json.dumps({"kind": "q99", "count": 1, "vectors": [vector]}))
    assert main([str(tmp_path)]) == 0
    assert "1 vectors of kind q99: not run here" in capsys.readouterr().out
    for report in run_folder(HERE):
        assert report.run == (report.kind in RUN)


@pytest.mark.parametrize("kind", sorted(RUN))
def test_a_wrong_answer_is_found_and_ends_with_one(kind: str, tmp_path: Path) -> None:
    content = json.loads((HERE / f"{kind}.json").read_text())
    field = WRONG[kind]
    vector = next(v for v in content["vectors"] if v["answer"].get(field) is not None)
    old = vector["answer"][field]
    vector["answer"][field] = [0.5 * x for x in old] if isinstance(old, list) else old + 1
    (tmp_path / "one.json").write_text(json.dumps({"kind": kind, "count": 1, "vectors": [vector]}))
    (report,) = run_folder(tmp_path)
    assert report.failures
    assert report.line().startswith("one.json: 0 of 1")
    assert main([str(tmp_path)]) == 1


@pytest.mark.parametrize(
    "text",
    [
        "not json",
        "[]",
        '{"kind": "q1", "count": 2, "vectors": []}',
        '{"count": 0, "vectors": []}',
        '{"kind": "q1", "count": 1, "vectors": [{"id": "x"}]}',
    ],
)
def test_a_file_of_another_schema_ends_with_two(
    text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "odd.json").write_text(text)
    assert main([str(tmp_path)]) == 2
    assert "odd.json" in capsys.readouterr().err


def test_no_folder_and_an_empty_folder_end_with_two(tmp_path: Path) -> None:
    assert main([str(tmp_path / "nowhere")]) == 2
    assert main([str(tmp_path)]) == 2
    assert main(["one", "two"]) == 2
    with pytest.raises(BadFolderError):
        read_folder(tmp_path)


def test_a_vector_that_cannot_be_run_is_a_failure(tmp_path: Path) -> None:
    broken = {"id": "x", "input": {}, "answer": {}}
    (tmp_path / "one.json").write_text(json.dumps({"kind": "q2", "count": 1, "vectors": [broken]}))
    assert main([str(tmp_path)]) == 1
