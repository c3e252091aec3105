"""Numbers that people read aloud: a letter or two and the next number of their kind."""

from typing import Any

from django.db.models import Max


def next_number(model: Any, letters: str) -> str:
    """The next number; two at the same moment meet at the unique law, and one is told to do it again."""
    newest = model.objects.aggregate(newest=Max("pk"))["newest"] or 0
    return f"{letters}{newest + 1:05d}"
