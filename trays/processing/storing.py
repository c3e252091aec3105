"""Released packs: put on a shelf, issued, returned unopened, opened; and packs that leave the round."""

from collections.abc import Callable, Collection
from datetime import datetime
from uuid import UUID

from django.db.models import F
from django.utils.translation import gettext as _

from trays.instruments.models import Pack, PackState
from trays.instruments.queries import set_facts
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.places.models import Place, PlaceKind
from trays.processing.models import Assembly
from trays.processing.moving import Step, lock_packs, move, no_way
from trays.processing.receiving import one_site
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock.queries import site_day
from trays.web.errors import Refusal

SHELVES = (PlaceKind.STERILE_STORE, PlaceKind.SHELF, PlaceKind.STORE)
OUTLETS = (PlaceKind.THEATRE, PlaceKind.TROLLEY)


def packs_store(
    *,
    by: Person,
    packs: Collection[Pack],
    place: Place,
    bin: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> list[Pack]:
    """Put released packs on a shelf; or put stored ones on another.

    Raises Refusal "not-a-shelf", "place-elsewhere", "immediate-use" (such a pack never reaches a shelf),
    "no-way"; NotAllowed.
    """
    site = one_site(packs)
    require(by=by, act="store_packs", site_id=site.pk)
    _check_place(place, site.pk)
    if place.kind not in SHELVES:
        raise Refusal(
            "not-a-shelf",
            _("%(place)s is no shelf.") % {"place": place.name},
            _("Scan the shelf's own label."),
        )

    def change(locked: list[Pack]) -> list[Line]:
        for pack in locked:
            if pack.immediate_use:
                raise Refusal(
                    "immediate-use",
                    _("Pack %(pack)s was sterilized for immediate use; it does not go on a shelf.")
                    % {"pack": pack.number},
                    _("Bring it to the theatre now, or put it back to the start."),
                )
        stay = [pack for pack in locked if pack.state == PackState.STORED]
        lines = [Line("pack", pack.pk, pack.place.code, place.code) for pack in stay]
        for pack in stay:
            pack.place, pack.bin = place, bin[:20]
        Pack.objects.bulk_update(stay, ["place", "bin"])
        come = [pack for pack in locked if pack.state != PackState.STORED]
        return lines + move(come, PackState.STORED, Step(by=by, at=at, place=place, bin=bin[:20]))

    return _act("pack.store", by, packs, at, client_key, change, place=place)


def packs_issue(
    *, by: Person, packs: Collection[Pack], place: Place, at: datetime, client_key: UUID | None = None
) -> list[Pack]:
    """Issue released packs to a theatre or onto a trolley.

    Raises Refusal "out-of-date", "lacks-critical" (names the pack), "place-elsewhere", "no-way"; NotAllowed.
    """
    site = one_site(packs)
    require(by=by, act="issue_packs", site_id=site.pk)
    _check_place(place, site.pk)

    def change(locked: list[Pack]) -> list[Line]:
        return issue_within(by=by, locked=locked, place=place, at=at)

    return _act("pack.issue", by, packs, at, client_key, change, place=place)


def issue_within(*, by: Person, locked: Collection[Pack], place: Place, at: datetime) -> list[Line]:
    """The same for locked packs within a larger act, with no event written."""
    if place.kind not in OUTLETS:
        raise Refusal(
            "not-an-outlet",
            _("%(place)s is no theatre and no trolley.") % {"place": place.name},
            _("Scan the label of the theatre or the trolley."),
        )
    for pack in locked:
        _check_usable(pack, at)
    _check_critical(locked)
    return move(locked, PackState.ISSUED, Step(by=by, at=at, place=place))


def packs_return(
    *,
    by: Person,
    packs: Collection[Pack],
    place: Place,
    bin: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> list[Pack]:
    """Take back issued packs that were not opened and are whole and dry: onto the shelf again."""
    site = one_site(packs)
    require(by=by, act="store_packs", site_id=site.pk)
    _check_place(place, site.pk)

    def change(locked: list[Pack]) -> list[Line]:
        return return_within(by=by, locked=locked, place=place, bin=bin, at=at)

    return _act("pack.return", by, packs, at, client_key, change, place=place)


def return_within(
    *, by: Person, locked: Collection[Pack], place: Place, bin: str = "", at: datetime
) -> list[Line]:
    """The same for locked packs within a larger act, with no event written."""
    step = Step(by=by, at=at, place=place, bin=bin[:20], reason="unopened")
    return move(locked, PackState.STORED, step, expected=(PackState.ISSUED,))


def packs_open(
    *,
    by: Person,
    packs: Collection[Pack],
    place: Place,
    at: datetime,
    happened_at: datetime | None = None,
    client_key: UUID | None = None,
) -> list[Pack]:
    """Take down that packs were opened. A fact: it is never refused for what the record held of them.

    Raises Refusal "no-way" only for a pack that is condemned, lost, lent out or in repair.
    """
    site = one_site(packs)
    require(by=by, act="issue_packs", site_id=site.pk)

    def change(locked: list[Pack]) -> list[Line]:
        return open_within(by=by, locked=locked, place=place, at=at, happened_at=happened_at)

    return _act("pack.open", by, packs, at, client_key, change, place=place)


def open_within(
    *, by: Person, locked: Collection[Pack], place: Place, at: datetime, happened_at: datetime | None = None
) -> list[Line]:
    """The same for locked packs within a larger act, with no event written."""
    return move(locked, PackState.OPENED, Step(by=by, at=at, happened_at=happened_at, place=place))


def packs_quarantine(
    *, by: Person, packs: Collection[Pack], reason: str, at: datetime, client_key: UUID | None = None
) -> list[Pack]:
    """Quarantine packs from wherever they are. `reason` is a short code of ours, not free text."""
    site = one_site(packs)
    require(by=by, act="quarantine_packs", site_id=site.pk)

    def change(locked: list[Pack]) -> list[Line]:
        return move(locked, PackState.QUARANTINED, Step(by=by, at=at, reason=reason[:40]))

    return _act("pack.quarantine", by, packs, at, client_key, change, reason=reason[:40])


OUT = {
    "repair": PackState.REPAIR,
    "lent": PackState.LENT,
    "lost": PackState.LOST,
    "condemned": PackState.CONDEMNED,
}


def packs_take_out(
    *, by: Person, packs: Collection[Pack], how: str, at: datetime, client_key: UUID | None = None
) -> list[Pack]:
    """Take packs out of the round: to repair, lent out, lost, or condemned for good."""
    site = one_site(packs)
    require(by=by, act="process_packs", site_id=site.pk)
    state = OUT[how]

    def change(locked: list[Pack]) -> list[Line]:
        return move(locked, state, Step(by=by, at=at, reason=how))

    return _act("pack.take-out", by, packs, at, client_key, change, reason=how)


def _check_place(place: Place, site_id: int) -> None:
    if place.site_id != site_id:
        raise Refusal(
            "place-elsewhere", _("This place is at another site."), _("Choose a place of this site.")
        )


def _check_usable(pack: Pack, at: datetime) -> None:
    if pack.state not in (PackState.RELEASED, PackState.STORED):
        raise no_way(pack, PackState.ISSUED)
    if pack.sterile_until is not None and pack.sterile_until < site_day(pack.set.site, at):
        raise Refusal(
            "out-of-date",
            _("Pack %(pack)s was in date until %(day)s.")
            % {"pack": pack.number, "day": pack.sterile_until.isoformat()},
            _("Put it back to the start, and take another."),
            pack_id=pack.pk,
        )


def _check_critical(packs: Collection[Pack]) -> None:
    """None lacks a critical line, unless a named person let it go as it is."""
    allowed = set(
        Assembly.objects.filter(pack__in=packs, round=F("pack__round"), short_by__isnull=False).values_list(
            "pack", flat=True
        )
    )
    sets = {pack.set_id for pack in packs}
    for one in set_facts(site_ids={pack.set.site_id for pack in packs}, set_ids=sets):
        for facts in one.packs:
            if facts.lacks_critical and facts.pk not in allowed and facts.pk in {pack.pk for pack in packs}:
                raise Refusal(
                    "lacks-critical",
                    _("Pack %(pack)s lacks %(name)s, which is critical.")
                    % {"pack": facts.number, "name": facts.lacks_critical[0].name},
                    _("Take another set, or have it completed on the bench."),
                    pack_id=facts.pk,
                )


def _act(
    verb: str,
    by: Person,
    packs: Collection[Pack],
    at: datetime,
    client_key: UUID | None,
    change: Callable[[list[Pack]], list[Line]],
    *,
    place: Place | None = None,
    reason: str = "",
) -> list[Pack]:
    site = one_site(packs)

    def work() -> list[Pack]:
        locked = lock_packs(pack.pk for pack in packs)
        lines = change(locked)
        record(
            chain=site.code, verb=verb, by=by, at=at, place_id=place.pk if place else None, reason=reason,
            client_key=client_key, answer={"packs": [pack.pk for pack in locked]}, lines=lines,
        )  # fmt: skip
        return locked

    return act_once(
        verb=verb,
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: list(Pack.objects.filter(pk__in=answer["packs"]).order_by("pk")),
    )
