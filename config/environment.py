"""Reading settings from the environment; nonsense is refused, never guessed."""

import os
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured


def flag(name: str, default: bool = False) -> bool:
    """Read a switch: 1 or 0. Anything else stops the start."""
    value = os.environ.get(name, "1" if default else "0")
    if value not in {"0", "1"}:
        raise ImproperlyConfigured(f"{name} is {value!r}; write 1 or 0.")
    return value == "1"


def secret(name: str) -> str:
    """Read a secret from NAME, or from the file named in NAME_FILE."""
    path = os.environ.get(f"{name}_FILE")
    value = os.environ.get(name, "")
    if path:
        try:
            value = Path(path).read_text().strip()
        except OSError as fault:
            raise ImproperlyConfigured(f"{name}_FILE names {path}, which cannot be read.") from fault
    if len(value) < 32:
        raise ImproperlyConfigured(
            f"{name} is missing or shorter than 32 characters. "
            f"Set it, or {name}_FILE to a file that holds it."
        )
    return value


def words(name: str, default: str = "") -> list[str]:
    """Read a list: words with commas between."""
    return [word.strip() for word in os.environ.get(name, default).split(",") if word.strip()]


def number(name: str, default: int, *, least: int, most: int) -> int:
    """Read a whole number within its bounds. Anything else stops the start."""
    value = os.environ.get(name, str(default))
    if not (value.isascii() and value.isdecimal() and least <= int(value) <= most):
        raise ImproperlyConfigured(f"{name} is {value!r}; write a whole number from {least} to {most}.")
    return int(value)
