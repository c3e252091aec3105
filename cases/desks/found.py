"""The answer to one scan, before it becomes a page."""

from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _


@dataclass(frozen=True, slots=True)
class Link:
    """Something to press under an answer."""

    label: str
    url: str


@dataclass(frozen=True, slots=True)
class Finding:
    """The answer to one scan. With ``url`` the person is taken there; ``code`` says why it was refused.

    ``ways`` are the readings to choose between, in words and in their order: then nothing is judged yet.
    ``thing`` is the pack, set, single instrument, place or goods that was scanned. ``stays``: the page of
    work on which it was scanned has done its act with it and shows the answer.
    """

    what: str = ""
    why: str = ""
    next_step: str = ""
    url: str = ""
    code: str = ""
    links: tuple[Link, ...] = field(default=())
    keep_raw: bool = True
    ways: tuple[str, ...] = ()
    thing: Any = None
    stays: bool = False

    @property
    def refused(self) -> bool:
        return bool(self.code)


def refuse(
    code: str, what: str, next_step: str, *, links: tuple[Link, ...] = (), keep_raw: bool = True
) -> Finding:
    """A scan that leads nowhere, with its reason and what to do."""
    return Finding(what=what, next_step=next_step, code=code, links=links, keep_raw=keep_raw)


def not_on_file(what: str) -> Finding:
    return refuse("not-on-file", what, _("Check that the label belongs here, or ask whoever made it."))
