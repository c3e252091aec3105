"""The demo's own database file and key, so that it can never touch a real installation's."""

import os
import secrets
from pathlib import Path

FOLDER = Path(__file__).resolve().parent.parent / ".demo"


def prepare(folder: Path = FOLDER) -> None:
    """Point the settings at the demo's file and key; make the key on the first start."""
    folder.mkdir(mode=0o700, exist_ok=True)
    key = folder / "secret-key"
    if not key.exists():
        key.write_text(secrets.token_urlsafe(60))
        key.chmod(0o600)
    os.environ["TRAYSPAN_SECRET_KEY_FILE"] = str(key)
    os.environ.pop("TRAYSPAN_SECRET_KEY", None)
    os.environ.pop("TRAYSPAN_PG", None)
    os.environ["TRAYSPAN_DB"] = str(folder / "trayspan.sqlite3")
    os.environ["TRAYSPAN_DEMO"] = "1"
