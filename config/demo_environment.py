"""Database files and keys of their own for the demo and for scratch work.

So neither can ever touch a real installation's database.
"""

import atexit
import os
import secrets
import shutil
import tempfile
from pathlib import Path

FOLDER = Path(__file__).resolve().parent.parent / ".demo"


def prepare(folder: Path = FOLDER) -> None:
    """Point the settings at the demo's file and key; make the key on the first start."""
    folder.mkdir(mode=0o700, exist_ok=True)
    key = folder / "secret-key"
    if not key.exists():
        key.write_text(secrets.token_urlsafe(60))
        key.chmod(0o600)
    _point_at(folder / "trayspan.sqlite3")
    os.environ.pop("TRAYSPAN_SECRET_KEY", None)
    os.environ["TRAYSPAN_SECRET_KEY_FILE"] = str(key)


def prepare_scratch() -> None:
    """Point the settings at an empty database file that is deleted when the process ends."""
    folder = Path(tempfile.mkdtemp(prefix="trayspan-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    _point_at(folder / "scratch.sqlite3")
    os.environ.pop("TRAYSPAN_SECRET_KEY_FILE", None)
    os.environ["TRAYSPAN_SECRET_KEY"] = secrets.token_urlsafe(60)


def _point_at(database: Path) -> None:
    os.environ.pop("TRAYSPAN_PG", None)
    os.environ["TRAYSPAN_DB"] = str(database)
    os.environ["TRAYSPAN_DEMO"] = "1"
