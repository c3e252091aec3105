"""The line without a browser: a folder of files in, pick lists, count sheets, labels and alerts out."""

import csv
import io
import os
import subprocess
import sys
from pathlib import Path

import pypdfium2
import pytest

ROOT = Path(__file__).resolve().parents[3]


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("TRAYSPAN_")}
    return subprocess.run(
        [sys.executable, "manage.py", "papers", *arguments],
        cwd=ROOT, env=kept, capture_output=True, text=True, timeout=300,
    )  # fmt: skip


def words_of(file: Path) -> str:
    document = pypdfium2.PdfDocument(file)
    try:
        return "\n".join(page.get_textpage().get_text_bounded() for page in document)
    finally:
        document.close()


@pytest.mark.slow
def test_the_demo_folder_becomes_paper_for_its_first_day(tmp_path: Path) -> None:
    done = run(str(ROOT / "fixtures" / "demo"), str(tmp_path), "--days", "1")
    assert done.returncode == 0, done.stderr
    picks = sorted((tmp_path / "pick-lists").iterdir())
    counts = sorted((tmp_path / "count-sheets").iterdir())
    assert len(picks) == len(counts) >= 4
    assert all("Pick list" in words_of(one) for one in picks)
    assert all("Count sheet" in words_of(one) for one in counts)
    assert any((tmp_path / "labels").iterdir())
    for site in ("larkmere", "fennside"):
        text = (tmp_path / f"reorder-{site}.csv").read_bytes().decode("utf-8-sig")
        heads, *rows = csv.reader(io.StringIO(text))
        assert "Suggested quantity" in heads and rows
    assert "[########################]" in done.stderr
    assert f"{len(picks)} pick lists" in done.stdout


def test_a_folder_with_a_fault_is_told_and_nothing_is_written(tmp_path: Path) -> None:
    folder, out = tmp_path / "in", tmp_path / "out"
    folder.mkdir()
    (folder / "01-parties.csv").write_text("code,name,kind\nLOC,Larkmere,hospital\nMER,Merrowfield,boat\n")
    done = run(str(folder), str(out))
    assert done.returncode == 1
    assert "01-parties.csv, row 3, column kind" in done.stderr
    assert not out.exists()


def test_a_folder_that_is_not_there_is_one_plain_sentence(tmp_path: Path) -> None:
    done = run(str(tmp_path / "nowhere"), str(tmp_path / "out"))
    assert done.returncode == 1
    assert "is not a folder" in done.stderr and "Traceback" not in done.stderr


def test_what_cannot_be_written_into_or_printed_on_is_one_plain_sentence(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.touch()
    for more, said in ((["--stock", "parchment"], "invalid choice: 'parchment'"), ([], "is not a folder")):
        done = run(str(ROOT / "fixtures" / "demo"), str(file), *more)
        assert done.returncode != 0
        assert said in done.stderr and "Traceback" not in done.stderr
    assert file.read_bytes() == b""
