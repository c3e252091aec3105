"""What was scanned on a working page and not acted on yet: kept in the person's session, so that it outlives
loading the page anew.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest

from trays.instruments.models import ContentsLine, Pack, PackState
from trays.parties.models import Site
from trays.places.models import Place
from trays.processing.moving import no_way
from trays.processing.receiving import Lacking, received_already
from trays.processing.ways import way

MOST = 200


class Gathered:
    """Packs in the order in which they were scanned, on one page of one person."""

    name = ""

    def __init__(self, request: HttpRequest) -> None:
        self.session = request.session
        kept: Any = self.session.get(self.name)
        self.kept: dict[str, Any] = kept if isinstance(kept, dict) else {}

    @property
    def ids(self) -> list[int]:
        return [int(pk) for pk in self.kept.get("packs", [])]

    def add(self, packs: Iterable[Pack]) -> int:
        """Take packs up; how many were not there yet."""
        before = self.ids
        new = [pack.pk for pack in packs if pack.pk not in before]
        self.keep(packs=(before + new)[-MOST:])
        return len(new)

    def drop(self, ids: Iterable[int]) -> None:
        """Let packs go again."""
        gone = set(ids)
        self.keep(packs=[pk for pk in self.ids if pk not in gone])

    def keep(self, **values: Any) -> None:
        self.kept = {**self.kept, **values}
        self.session[self.name] = self.kept

    def packs(self, site: Site) -> list[Pack]:
        """Those of one site, with what pages show of them (one query)."""
        return packs_in_order(site, self.ids)


@dataclass(frozen=True, slots=True)
class Lack:
    """What is said of one line of a gathered pack, before it is received."""

    pack_id: int
    line_id: int
    quantity: int
    cause: str
    note: str = ""


class Trolley(Gathered):
    """What came back from theatre."""

    name = "gathered_receive"

    def add(self, packs: Iterable[Pack]) -> int:
        """Take packs up. Raises Refusal "no-way" for one that cannot be received."""
        rows = list(packs)
        for pack in rows:
            check_receivable(pack)
        return super().add(rows)

    @property
    def lacks(self) -> list[Lack]:
        return [Lack(*one) for one in self.kept.get("lacks", [])]

    def note(self, lack: Lack) -> None:
        """Say of a line what it lacks; the latest word for a line and cause counts."""
        others = [one for one in self.lacks if not _same(one, lack)]
        self._keep_lacks([*others, lack])

    def unnote(self, lack: Lack) -> None:
        """Take that back."""
        self._keep_lacks([one for one in self.lacks if not _same(one, lack)])

    def drop(self, ids: Iterable[int]) -> None:
        gone = set(ids)
        super().drop(gone)
        self._keep_lacks([one for one in self.lacks if one.pack_id not in gone])

    def lacking(self, packs: Iterable[Pack]) -> list[Lacking]:
        """What the packs lack, as the service takes it."""
        ids = {pack.pk for pack in packs}
        lacks = [one for one in self.lacks if one.pack_id in ids]
        lines = ContentsLine.objects.in_bulk({one.line_id for one in lacks})
        return [
            Lacking(one.pack_id, lines[one.line_id], one.quantity, one.cause, one.note)
            for one in lacks
            if one.line_id in lines
        ]

    def _keep_lacks(self, lacks: list[Lack]) -> None:
        self.keep(lacks=[[one.pack_id, one.line_id, one.quantity, one.cause, one.note] for one in lacks])


class Hands(Gathered):
    """What is in somebody's hands on the way to a shelf or a theatre: packs, or the place scanned last."""

    name = "gathered_store"

    def add(self, packs: Iterable[Pack]) -> int:
        """Take packs up. Raises Refusal "no-way" for one that is not released."""
        rows = list(packs)
        for pack in rows:
            if pack.state not in Pack.READY:
                raise no_way(pack, PackState.STORED)
        return super().add(rows)

    def place(self, site: Site) -> Place | None:
        """The place that was scanned last, if it is of this site."""
        return Place.objects.filter(pk=self.kept.get("place") or 0, site=site).first()

    def hold(self, place: Place | None) -> None:
        """What is scanned from now on goes to this place."""
        self.keep(place=place.pk if place else None)


def check_receivable(pack: Pack) -> None:
    """Raises Refusal "received-already", "no-way"."""
    if pack.state == PackState.RECEIVED:
        raise received_already(pack)
    if way(pack.state, PackState.RECEIVED) is None:
        raise no_way(pack, PackState.RECEIVED)


def shown_packs() -> QuerySet[Pack]:
    """Packs with what the working pages show of them."""
    return Pack.objects.select_related("set__version__design", "set__site", "place")


def packs_in_order(site: Site, ids: list[int]) -> list[Pack]:
    """The packs of a site with these keys, in their order (one query)."""
    order = {pk: number for number, pk in enumerate(ids)}
    rows = shown_packs().filter(set__site=site, pk__in=ids)
    return sorted(rows, key=lambda pack: order[pack.pk])


def _same(one: Lack, other: Lack) -> bool:
    return (one.pack_id, one.line_id, one.cause) == (other.pack_id, other.line_id, other.cause)
