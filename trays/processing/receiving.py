"""Taking used packs back into sterile services, one by one or a trolley at once, and what they lack."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from trays.instruments.models import ContentsLine, InstrumentSet, Pack, PackState
from trays.ledger.append import record
from trays.ledger.once import act_once
from trays.parties.models import Site
from trays.places.models import Place
from trays.processing.moving import Step, lock_packs, move
from trays.processing.recall_marks import in_use, mark_back
from trays.processing.shortfalls import notice
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal


@dataclass(frozen=True, slots=True)
class Lacking:
    """What theatre says, or the eye sees, on arrival: so many of one contents line are missing or broken."""

    pack_id: int
    line: ContentsLine
    quantity: int
    cause: str
    note: str = ""


def packs_receive(
    *,
    by: Person,
    packs: Collection[Pack],
    place: Place,
    at: datetime,
    happened_at: datetime | None = None,
    urgent: bool = False,
    lacking: Sequence[Lacking] = (),
    client_key: UUID | None = None,
) -> list[Pack]:
    """Receive used packs: each begins its next round. Whatever the record held of them, that they are here
    is a fact.

    Raises Refusal "no-packs", "received-already" (names it), "several-sites", "place-elsewhere"; NotAllowed
    "not-your-act". With a client key used before, the packs of that time come back and nothing changes.
    """
    site = one_site(packs)
    require(by=by, act="process_packs", site_id=site.pk)
    if place.site_id != site.pk:
        raise Refusal(
            "place-elsewhere", _("This place is at another site."), _("Choose a place of this site.")
        )

    def work() -> list[Pack]:
        locked = lock_packs(pack.pk for pack in packs)
        here = [pack for pack in locked if pack.state == PackState.RECEIVED]
        if here:
            raise received_already(here[0])
        used = in_use(locked)
        step = Step(by=by, at=at, happened_at=happened_at, place=place, reason="urgent" if urgent else "")
        lines = move(locked, PackState.RECEIVED, step, urgent=urgent)
        lines += mark_back(packs=locked, used=used, by=by, at=at)
        by_id = {pack.pk: pack for pack in locked}
        for lack in lacking:
            lines += notice(
                pack=by_id[lack.pack_id], line=lack.line, quantity=lack.quantity, cause=lack.cause,
                by=by, at=at, note=lack.note,
            )  # fmt: skip
        record(
            chain=site.code, verb="pack.receive", by=by, at=at, happened_at=happened_at, place_id=place.pk,
            client_key=client_key, answer={"packs": [pack.pk for pack in locked]}, lines=lines,
        )  # fmt: skip
        return locked

    return act_once(
        verb="pack.receive",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: list(Pack.objects.filter(pk__in=answer["packs"]).order_by("pk")),
    )


def packs_reject(
    *,
    by: Person,
    packs: Collection[Pack],
    reason: str,
    place: Place,
    at: datetime,
    client_key: UUID | None = None,
) -> list[Pack]:
    """Put packs back to the start: wet, dropped, torn, out of date, dirty at inspection, wash failed.

    `reason` is one of REASONS_BACK. Raises Refusal "no-packs", "several-sites", "no-way"; NotAllowed.
    """
    if reason not in REASONS_BACK:
        raise ValueError(f"a pack does not go back as {reason!r}")
    site = one_site(packs)
    require(by=by, act="process_packs", site_id=site.pk)

    def work() -> list[Pack]:
        locked = lock_packs(pack.pk for pack in packs)
        used = in_use(locked)
        lines = move(locked, PackState.RECEIVED, Step(by=by, at=at, place=place, reason=reason))
        lines += mark_back(packs=locked, used=used, by=by, at=at)
        record(
            chain=site.code, verb="pack.reject", by=by, at=at, place_id=place.pk, reason=reason,
            client_key=client_key, answer={"packs": [pack.pk for pack in locked]}, lines=lines,
        )  # fmt: skip
        return locked

    return act_once(
        verb="pack.reject",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: list(Pack.objects.filter(pk__in=answer["packs"]).order_by("pk")),
    )


REASONS_BACK = ("wet", "dropped", "torn", "expired", "dirty", "failed-wash", "damaged", "not-used-in-time")


def packs_of(instrument_set: InstrumentSet) -> list[Pack]:
    """Every pack of a set, in order of tray: what a scan of the set's own code stands for."""
    return list(instrument_set.packs.select_related("set__site", "place").order_by("tray"))


def one_site(packs: Collection[Pack]) -> Site:
    """The site of the packs. Raises Refusal "no-packs", "several-sites"."""
    sites = {pack.set.site_id: pack.set.site for pack in packs}
    if not sites:
        raise Refusal("no-packs", _("No pack is named."), _("Scan a pack, or the set that it belongs to."))
    if len(sites) > 1:
        raise Refusal(
            "several-sites", _("These packs belong to several sites."), _("Do it for one site at a time.")
        )
    return next(iter(sites.values()))


def received_already(pack: Pack) -> Refusal:
    """What is said of a pack that is where it is being brought."""
    return Refusal(
        "received-already",
        _("Pack %(pack)s of set %(set)s has been received already.")
        % {"pack": pack.number, "set": pack.set.code},
        _("Nothing more to do here; next it is washed."),
        pack_id=pack.pk,
    )
