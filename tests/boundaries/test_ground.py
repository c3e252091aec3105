"""The top of the tree, the words that may not stand in it, and the locked versions."""

import json
import re
import tomllib
from pathlib import Path

import pytest

from tests.boundaries.tree import ROOT, project_files

TOP_FOLDERS = {"cases", "config", "docs", "fixtures", "templates", "tests", "trays"}
TOP_PAGES = {"DEVELOPERS.md", "LICENSE", "README.md", "SECURITY.md"}
TOP_MACHINERY = {"manage.py", "package-lock.json", "package.json", "pyproject.toml"}
LOCKS = (
    "requirements.txt",
    "requirements-postgres.txt",
    "requirements-exact.txt",
    "requirements-test.txt",
)

# Each pattern is written so that it does not find itself here.
UNWANTED = {
    "where the project came from": r"see[d] document|tran[s]cript",
    "a folder of somebody's machine": r"(?<![\w.])/(?:wor[k]|hom[e]|roo[t]|User[s])/\w",
    "the host of a package registry": r"\bpyp[i]\.org|python[h]osted|registry\.npm[j]s|deb\.debia[n]",
    "work left open": r"\bTOD[O]\b|\bFIXM[E]\b|\bXX[X]\b|\bassert Tru[e]\b|lorem ipsu[m]",
}
# Everything but what is not text.
BINARY = {".gif", ".ico", ".jpg", ".pdf", ".png", ".ttf", ".wasm", ".webp", ".woff2", ".xlsx"}


def text_of(path: Path) -> str:
    return (ROOT / path).read_text(encoding="utf-8", errors="replace")


def declared(*extras: str) -> set[str]:
    """The names of the packages that pyproject.toml asks for, with those of the extras."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    lines = list(project["dependencies"])
    for extra in extras:
        lines += project["optional-dependencies"][extra]
    return {re.split(r"[^a-z0-9-]", line)[0] for line in lines}


def test_the_top_of_the_tree_is_the_agreed_one() -> None:
    tops = {path.parts[0] for path in project_files()}
    agreed = TOP_FOLDERS | TOP_PAGES | TOP_MACHINERY | set(LOCKS)
    assert {top for top in tops if not top.startswith(".")} - agreed == set()


@pytest.mark.parametrize("pattern", UNWANTED.values(), ids=UNWANTED)
def test_no_file_holds_unwanted_words(pattern: str) -> None:
    wanted = re.compile(pattern, re.IGNORECASE if "document" in pattern else 0)
    hits = [
        f"{path}:{number}: {line.strip()[:100]}"
        for path in project_files()
        if path.suffix not in BINARY
        for number, line in enumerate(text_of(path).splitlines(), start=1)
        if wanted.search(line)
    ]
    assert hits == []


@pytest.mark.parametrize("lock", LOCKS)
def test_the_lock_names_no_address(lock: str) -> None:
    lines = text_of(Path(lock)).splitlines()
    address = re.compile(r"://|--(index|extra-index|find-links|trusted-host)")
    assert [line for line in lines if address.search(line)] == []


def test_the_lock_of_npm_names_no_address_and_every_package_by_hash() -> None:
    text = text_of(Path("package-lock.json"))
    packages = json.loads(text)["packages"]
    assert "://" not in text
    hashes = {name: one.get("integrity", "") for name, one in packages.items() if name}
    assert [name for name, digest in hashes.items() if not digest.startswith("sha512-")] == []
    asked = json.loads(text_of(Path("package.json")))["dependencies"]
    assert {f"node_modules/{name}": version for name, version in asked.items()}.items() <= {
        name: one.get("version") for name, one in packages.items()
    }.items()


@pytest.mark.parametrize("lock", LOCKS)
def test_every_locked_version_has_a_hash(lock: str) -> None:
    entries = re.split(r"\n(?=[a-z0-9])", text_of(Path(lock)).split("\n", 1)[1])
    assert len(entries) > 10
    assert [entry.splitlines()[0] for entry in entries if "--hash=sha256:" not in entry] == []


@pytest.mark.parametrize(
    ("lock", "extras"),
    [
        (LOCKS[0], ()),
        (LOCKS[1], ("postgres",)),
        (LOCKS[2], ("exact",)),
        (LOCKS[3], ("exact", "postgres", "test")),
    ],
)
def test_the_lock_holds_every_declared_package(lock: str, extras: tuple[str, ...]) -> None:
    locked = set(re.findall(r"^([a-z0-9-]+)==", text_of(Path(lock)), re.M))
    assert declared(*extras) - locked == set()


def test_every_declared_package_is_explained() -> None:
    page = text_of(Path("docs/dependencies.md"))
    assert {name for name in declared("exact", "postgres", "test") if f"| {name} |" not in page} == set()


@pytest.mark.parametrize("name", sorted(TOP_PAGES))
def test_the_page_is_there_and_says_something(name: str) -> None:
    assert len(text_of(Path(name)).split()) > 100
