"""Settings refuse nonsense instead of guessing."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from config.environment import flag, number, secret, words


def test_a_switch_is_one_or_nought(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRAYSPAN_X", "yes")
    with pytest.raises(ImproperlyConfigured, match="write 1 or 0"):
        flag("TRAYSPAN_X")
    monkeypatch.setenv("TRAYSPAN_X", "1")
    assert flag("TRAYSPAN_X")


def test_a_secret_comes_from_its_file_and_a_missing_or_short_one_stops_the_start(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("KEY", "short")
    with pytest.raises(ImproperlyConfigured, match="shorter than 32"):
        secret("KEY")
    monkeypatch.setenv("KEY_FILE", str(tmp_path / "none"))
    with pytest.raises(ImproperlyConfigured, match="cannot be read"):
        secret("KEY")
    (tmp_path / "key").write_text("short\n")
    monkeypatch.setenv("KEY_FILE", str(tmp_path / "key"))
    with pytest.raises(ImproperlyConfigured, match="shorter than 32"):
        secret("KEY")
    (tmp_path / "key").write_text("k" * 40 + "\n")
    assert secret("KEY") == "k" * 40


def test_a_list_is_words_with_commas(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOSTS", "a.example, b.example,")
    assert words("HOSTS") == ["a.example", "b.example"]


@pytest.mark.parametrize("value", ["", "soon", "0", "-1", "3651", "1.5", "９"])
def test_a_number_stays_within_its_bounds(monkeypatch: pytest.MonkeyPatch, value: str) -> None:
    monkeypatch.setenv("DAYS", value)
    with pytest.raises(ImproperlyConfigured, match="a whole number from 1 to 3650"):
        number("DAYS", 90, least=1, most=3650)
    monkeypatch.setenv("DAYS", "30")
    assert number("DAYS", 90, least=1, most=3650) == 30
    monkeypatch.delenv("DAYS")
    assert number("DAYS", 90, least=1, most=3650) == 90


def test_a_start_without_a_key_or_without_hosts_is_refused() -> None:
    bare = {name: value for name, value in os.environ.items() if not name.startswith("TRAYSPAN_")}
    for more, told in (
        ({}, "TRAYSPAN_SECRET_KEY is missing"),
        ({"TRAYSPAN_SECRET_KEY": "k" * 50}, "TRAYSPAN_HOSTS is empty"),
    ):
        started = subprocess.run(
            [sys.executable, "manage.py", "check"],
            env=bare | more,
            capture_output=True,
            text=True,
            cwd=Path(__file__).parents[2],
        )
        assert started.returncode != 0
        assert told in started.stderr
