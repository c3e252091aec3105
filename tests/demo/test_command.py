"""manage.py demo, import_files and verify_record as a person starts them."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from fixtures import make
from trays.parties.models import Party, Site
from trays.staff.models import Person
from trays.stock.models import Unit

ROOT = Path(__file__).resolve().parents[2]
START = """
import os, signal, sys
# Whoever starts the tests in the background may have switched the interrupt off.
signal.signal(signal.SIGINT, signal.default_int_handler)
from pathlib import Path
sys.path.insert(0, {root!r})
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
from config.demo_environment import prepare
prepare(Path({folder!r}))
from django.core.management import execute_from_command_line
execute_from_command_line(["manage.py", "demo", *sys.argv[1:]])
"""


def start(folder: Path, *args: str) -> subprocess.Popen:
    program = START.format(root=str(ROOT), folder=str(folder))
    kept = {name: value for name, value in os.environ.items() if not name.startswith("TRAYSPAN_")}
    return subprocess.Popen(
        [sys.executable, "-c", program, *args],
        cwd=ROOT, env=kept, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def workers_of(folder: Path) -> list[int]:
    """Processes for background work that serve this folder's database."""
    found = []
    for path in Path("/proc").glob("[0-9]*"):
        try:
            command = (path / "cmdline").read_bytes()
            around = (path / "environ").read_bytes()
        except OSError:
            continue
        if b"db_worker" in command and str(folder).encode() in around:
            found.append(int(path.name))
    return found


@pytest.mark.slow
def test_the_demo_serves_its_sign_in_page_and_ends_with_its_worker(tmp_path):
    port = free_port()
    begun = time.monotonic()
    process = start(tmp_path, "--port", str(port))
    try:
        while True:
            assert process.poll() is None, process.stdout.read()
            assert time.monotonic() - begun < 120
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/sign-in/", timeout=30) as answer:  # noqa: S310
                    assert answer.status == 200
                    assert b"<form" in answer.read()
                    break
            except OSError:
                time.sleep(0.3)
        if Path("/proc").exists():
            assert len(workers_of(tmp_path)) == 1
        busy = start(tmp_path, "--port", str(port))
        said = busy.communicate(timeout=60)[0]
        assert busy.returncode == 1
        assert f"--port {port + 1}" in said
    finally:
        process.send_signal(signal.SIGINT)
        said = process.communicate(timeout=60)[0]
    assert process.returncode == 0, said
    assert f"http://127.0.0.1:{port}/" in said
    assert "addlestrop" in said
    assert (tmp_path / "sign-in").read_text().strip() in said
    assert (tmp_path / "sign-in").stat().st_mode & 0o077 == 0
    assert workers_of(tmp_path) == []


def test_the_demo_runs_only_on_its_own_database():
    with pytest.raises(CommandError, match="own database"):
        call_command("demo")


@pytest.fixture
def keeper(db):
    return Person.objects.create(username="keeper", name="K", is_superuser=True, password="!")


def folder_of(tmp_path: Path, **files: str) -> Path:
    for name, text in files.items():
        (tmp_path / f"{name}.csv").write_text(text)
    return tmp_path


PARTIES = "code,name,kind\nloc,Hospital,hospital\n"
SITES = "code,name,party,zone\nlarkmere,Larkmere,loc,Europe/London\n"


def test_a_folder_is_imported_in_order_of_dependency(keeper, tmp_path, capsys):
    call_command("import_files", str(folder_of(tmp_path, sites=SITES, parties=PARTIES)))
    assert Site.objects.get().party.code == "loc"
    assert "All of it is kept" in capsys.readouterr().out


def test_checking_a_folder_keeps_nothing(keeper, tmp_path, capsys):
    call_command("import_files", str(folder_of(tmp_path, sites=SITES, parties=PARTIES)), "--check-only")
    assert not Party.objects.exists()
    assert "nothing was kept" in capsys.readouterr().out


def test_a_fault_in_one_file_keeps_nothing_of_any_and_tells_where(keeper, tmp_path, capsys):
    folder = folder_of(
        tmp_path, parties=PARTIES, sites=SITES.replace("loc", "other") + "x,X,loc,Mars/Crater\n"
    )
    with pytest.raises(CommandError, match="2 faults"):
        call_command("import_files", str(folder))
    said = capsys.readouterr().err
    assert "sites.csv, row 2, column party" in said
    assert "sites.csv, row 3, column zone" in said
    assert not Party.objects.exists()


def test_a_folder_that_is_none_or_holds_strange_names(keeper, tmp_path):
    for folder, word in ((tmp_path / "none", "not a folder"), (tmp_path, "no CSV")):
        with pytest.raises(CommandError, match=word):
            call_command("import_files", str(folder))
    folder_of(tmp_path, recipes="a,b\n")
    with pytest.raises(CommandError, match="recipes.csv"):
        call_command("import_files", str(tmp_path))


def test_somebody_must_be_named_who_exists(db, tmp_path):
    folder_of(tmp_path, parties=PARTIES)
    with pytest.raises(CommandError, match="keeper"):
        call_command("import_files", str(tmp_path))
    with pytest.raises(CommandError, match="nobody"):
        call_command("import_files", str(tmp_path), "--by", "nobody")


def test_the_record_is_verified_and_a_missing_unit_is_found(db, capsys):
    from cases.desks.demo import world_load

    keeper = Person.objects.create(username="keeper", name="K", is_superuser=True, password="!")
    from datetime import date

    world_load(by=keeper, base_day=date(2026, 12, 2))
    call_command("verify_record")
    assert "The record holds" in capsys.readouterr().out
    lost = Unit.objects.first()
    Unit.objects.filter(pk=lost.pk).update(state="implanted")
    with pytest.raises(CommandError, match="1 faults"):
        call_command("verify_record")
    assert f"unit {lost.pk}" in capsys.readouterr().out


def test_the_demos_files_need_their_base_day(keeper, capsys):
    with pytest.raises(CommandError, match="nothing was kept"):
        call_command("import_files", str(make.FOLDER))
    assert "is not a date" in capsys.readouterr().err
