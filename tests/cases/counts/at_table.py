"""A knee case of the small world on its way into theatre, for tests of the theatre's pages."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from django.test import Client
from django.utils import timezone

from cases.bookings.models import Case
from cases.counts.bringing_in import pack_bring_in
from cases.counts.opening import case_open, trolley_take_over
from cases.picks.models import PickList
from cases.picks.services import pick_list_make
from cases.picks.ticking import packs_pick
from tests.world import World
from trays.instruments.models import Pack
from trays.parties.queries import site_day


@dataclass
class Table:
    """One case with its pick list and packs, and who stands at the table."""

    world: World
    case: Case
    pick_list: PickList
    packs: list[Pack]

    @property
    def people(self) -> dict[str, int]:
        cast = self.world.cast
        return {"scrub": cast.scrub.pk, "circulating": cast.circulating.pk}

    def address(self, page: str = "") -> str:
        return f"/theatre/{self.case.pk}/{page}"

    def open(self) -> None:
        cast = self.world.cast
        case_open(
            by=cast.circulating,
            case=self.case,
            scrub=cast.scrub,
            circulating=cast.circulating,
            at=timezone.now(),
        )

    def bring_all_in(self) -> None:
        by, now = self.world.cast.circulating, timezone.now()
        trolley_take_over(by=by, case=self.case, pick_list=self.pick_list, at=now)
        for pack in self.packs:
            pack.refresh_from_db()
            pack_bring_in(by=by, case=self.case, pack=pack, indicator="seen", at=now)

    def state(self, client: Client) -> dict[str, Any]:
        return client.get(self.address("state.json"), headers={"accept": "application/json"}).json()["state"]

    def send(
        self, client: Client, *entries: dict[str, Any], device: str = "", by: int | None = None
    ) -> dict[str, Any]:
        """Entries of a device, as the page sends them; each gets a key and its maker if it has none."""
        maker = by if by is not None else self.world.cast.circulating.pk
        whole = [
            {"key": str(uuid4()), "at": timezone.now().isoformat(), "by": maker, **one} for one in entries
        ]
        body = json.dumps({"device": device or str(uuid4()), "entries": whole})
        answer = client.post(self.address("entries/"), body, content_type="application/json")
        assert answer.status_code == 200, answer.content
        return answer.json()


def lay_table(world: World, *, ready: bool = True) -> Table:
    """A case of today with sets, units and a pick list whose packs are picked."""
    world.stock_everything()
    world.sets_of_each()
    day = site_day(world.site, timezone.now())
    case = world.a_case(
        predictions={"femoral": (1, 2), "tibial": (1, 1), "patellar": (1, 1)}, day=day, reference="R-1187"
    )
    keeper, now = world.cast.keeper, timezone.now()
    pick_list = pick_list_make(by=keeper, case=case, at=now)
    packs = [line.pack for line in pick_list.lines.filter(pack__isnull=False).select_related("pack__set")]
    if ready:
        packs_pick(by=keeper, pick_list=pick_list, packs=packs, at=now)
    return Table(world, case, pick_list, packs)


def named(lines: Iterable[dict[str, Any]], name: str) -> dict[str, Any]:
    return next(line for line in lines if line["name"] == name)
