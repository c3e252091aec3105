"""One scan on a page of work, as its act gets it."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.http import HttpRequest
from django.utils.translation import gettext as _

from cases.desks.found import Finding
from trays.identifiers.meaning import Reading
from trays.instruments.models import InstrumentSet, Pack
from trays.processing.gathering import shown_packs
from trays.processing.receiving import packs_of
from trays.staff.models import Person
from trays.web.errors import Refusal


@dataclass(frozen=True, slots=True)
class Scan:
    """One scan on a page of work: by whom, when, with the device's key; `pk` is the page's own row.

    `reading` is what the label said, also where nothing of it is on file.
    """

    request: HttpRequest
    by: Person
    at: datetime
    key: UUID | None
    pk: int
    found: Finding
    reading: Reading

    @property
    def thing(self) -> Any:
        return self.found.thing

    @property
    def packs(self) -> list[Pack]:
        """The packs that the scan stands for: one, or all of a set."""
        if isinstance(self.thing, InstrumentSet):
            return packs_of(self.thing)
        if isinstance(self.thing, Pack):
            return list(shown_packs().filter(pk=self.thing.pk))
        return []


def wrong(scan: Scan, wanted: str) -> Refusal:
    """What is said of a thing that has no place on this page."""
    return Refusal(
        "wrong-thing-here", _("%(what)s: that does not go in here.") % {"what": scan.found.what}, wanted
    )


def done(what: str, why: str = "", next_step: str = "") -> Finding:
    """The page has done its act and says so."""
    return Finding(what=what, why=why, next_step=next_step, stays=True)
