"""What the page lays over the server's picture, and its words: the pure modules, run by Node."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from cases.counts.deeds import KINDS
from cases.counts.views_worker import FILES, MODULES
from cases.counts.words import page_words

SCRIPTS = Path(__file__).resolve().parents[3] / "cases" / "static" / "cases" / "counts"
HERE = Path(__file__).parent

pytestmark = pytest.mark.filterwarnings("error")


@pytest.mark.skipif(shutil.which("node") is None, reason="Node is not installed")
def test_the_tally_keeps_what_it_promises() -> None:
    ran = subprocess.run(
        ["node", "--test", "--test-reporter=tap", str(HERE / "tally.test.mjs")],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stdout[-3000:] + ran.stderr[-2000:]
    assert int(re.search(r"^# pass (\d+)$", ran.stdout, re.M)[1]) >= 10  # type: ignore[index]


def said_in(script: str) -> set[str]:
    """The names of words that a module asks for outright."""
    calls = re.findall(r"\bsay\(((?:[^()]|\([^()]*\))*)\)", script)
    found = {name for call in calls for name in re.findall(r'"([a-z_]+)"', call.partition("{")[0])}
    # Compared with, not said.
    return found - {"added", "time", "closed"}


def test_every_word_that_the_page_says_is_there() -> None:
    words = page_words()
    asked = set().union(*(said_in(script.read_text()) for script in SCRIPTS.glob("*.js")))
    assert len(asked) > 60
    assert asked - set(words) == set()
    assert {f"kind_{kind}" for kind in KINDS} <= set(words)
    for name, value in words.items():
        for form in [value] if isinstance(value, str) else value:
            assert form.strip(), name
            assert form.count("{") == form.count("}"), name


def test_the_shell_keeps_every_module_that_another_asks_for() -> None:
    assert {path.stem for path in SCRIPTS.glob("*.js")} == set(MODULES)
    asked: set[str] = set()
    for name in FILES:
        if name.endswith(".js") and not name.startswith("django_htmx"):
            base = (
                SCRIPTS.parents[1] if name.startswith("cases/") else SCRIPTS.parents[3] / "trays" / "static"
            )
            path = base / name
            if not path.exists():
                path = Path(__file__).resolve().parents[3] / "trays" / "static" / name
            asked |= {
                str(Path(name).parent / other) for other in re.findall(r'from "\./([^"]+)"', path.read_text())
            }
    assert asked <= set(FILES)


def every_kind() -> list[str]:
    text = (SCRIPTS / "count.js").read_text()
    return sorted(set(re.findall(r'kind: "(\w+)"', text)))


def test_the_page_enters_nothing_that_the_server_does_not_know() -> None:
    kinds = every_kind()
    assert len(kinds) > 12
    assert set(kinds) <= set(KINDS)
