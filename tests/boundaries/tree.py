"""The project's own files, as git would take them; and its rooms, as the folders show them."""

import subprocess
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HALVES = ("trays", "cases")
# Folders that every Django app has at its top: they hold no room.
NOT_ROOMS = {"management", "migrations", "templatetags"}
NOT_OURS = {".git", ".venv", "node_modules", "__pycache__", ".demo"}


@cache
def project_files() -> tuple[Path, ...]:
    """Every file that belongs to the project, relative to its root."""
    if (ROOT / ".git").exists():
        listed = subprocess.run(
            ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
        ).stdout.split("\0")
        return tuple(Path(name) for name in listed if name and (ROOT / name).is_file())
    found = (path.relative_to(ROOT) for path in ROOT.rglob("*") if path.is_file())
    return tuple(path for path in found if not NOT_OURS & set(path.parts))


def rooms(half: str) -> list[str]:
    """The names of the rooms of one half."""
    folders = (path for path in (ROOT / half).iterdir() if (path / "__init__.py").exists())
    return sorted(path.name for path in folders if path.name not in NOT_ROOMS)


ALL_ROOMS = [(half, room) for half in HALVES for room in rooms(half)]
