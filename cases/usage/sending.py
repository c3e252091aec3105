"""After the final count: used packs to the dirty trolley with what they lack, the others back unopened."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.db.models import F
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.picks.models import PackFor
from cases.reservations import locking
from cases.usage.kinds import Sent
from cases.usage.marking import in_theatre, right_marked
from trays.instruments.models import Pack, PackState
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.places.models import Place, PlaceKind
from trays.processing.moving import Step, lock_packs, move
from trays.processing.shortfalls import notice
from trays.staff.models import Person
from trays.web.errors import Refusal


def used_sets_send(
    *,
    by: Person,
    case: Case,
    packs: Sequence[Sent],
    at: datetime,
    place: Place | None = None,
    happened_at: datetime | None = None,
    client_key: UUID | None = None,
) -> list[PackFor]:
    """Send the packs of a case away: opened ones become used and go onto the trolley, what each lacks is put
    on the list of shortfalls; unopened ones are handed back as they came, for a shelf.

    Raises Refusal "no-packs", "not-with-this-case", "no-trolley" (the place is none), "place-elsewhere", and
    what `shortfalls.notice` raises; NotAllowed "not-your-act".
    """
    own_role = in_theatre(by=by, site_id=case.site_id)
    if not packs:
        raise Refusal("no-packs", _("No pack is named."), _("Choose the packs that leave the room."))
    _check_place(case, place)

    def work() -> list[PackFor]:
        locking.lock(cases=[case.pk])
        locked = {pack.pk: pack for pack in lock_packs(one.pack.pk for one in packs)}
        rows = _with_this_case(case, locked)
        used = [pack for pack in locked.values() if rows[pack.pk].opened_at is not None]
        back = [pack for pack in locked.values() if rows[pack.pk].opened_at is None]
        lines = [
            Line("pack_for", row.pk, "opened" if row.opened_at else "issued", "sent") for row in rows.values()
        ]
        step = Step(by=by, at=at, happened_at=happened_at, place=place, reason="used")
        lines += move([pack for pack in used if pack.state == PackState.OPENED], PackState.USED, step)
        lines += _handed_back(back, rows, place, by, at)
        for one in packs:
            for lack in one.lacking:
                lines += notice(
                    pack=locked[one.pack.pk], line=lack.line, quantity=lack.quantity, cause=lack.cause, by=by,
                    at=at, note=lack.note,
                )  # fmt: skip
        lines += right_marked(own_role=own_role, case=case, by=by, at=at)
        record(
            chain=case.site.code, verb="case.send-sets", by=by, at=at, happened_at=happened_at,
            place_id=place.pk if place else case.list.theatre_id, client_key=client_key,
            answer={"packs_for": sorted(row.pk for row in rows.values())}, lines=lines,
        )  # fmt: skip
        return sorted(rows.values(), key=lambda row: row.pk)

    return act_once(
        verb="case.send-sets", by=by, client_key=client_key, work=work,
        replay=lambda answer: list(PackFor.objects.filter(pk__in=answer["packs_for"]).order_by("pk")),
    )  # fmt: skip


def _check_place(case: Case, place: Place | None) -> None:
    if place is None:
        return
    if place.site_id != case.site_id:
        raise Refusal(
            "place-elsewhere", _("This place is at another site."), _("Choose a place of this site.")
        )
    if place.kind not in (PlaceKind.TROLLEY, PlaceKind.STERILE_SERVICES):
        raise Refusal(
            "no-trolley",
            _("%(place)s is no trolley and not sterile services.") % {"place": place.name},
            _("Scan the label of the trolley."),
        )


def _with_this_case(case: Case, locked: dict[int, Pack]) -> dict[int, PackFor]:
    found = {
        row.pack_id: row
        for row in PackFor.objects.filter(
            case=case, pack__in=locked, round=F("pack__round"), returned_at__isnull=True
        )
    }
    strange = [pack for key, pack in locked.items() if key not in found]
    if strange:
        raise Refusal(
            "not-with-this-case",
            _("Pack %(pack)s is not with this case.") % {"pack": strange[0].number},
            _("Load the page again; receive others on the page of sterile services."),
            pack_id=strange[0].pk,
        )
    return found


def _handed_back(
    back: Sequence[Pack], rows: dict[int, PackFor], place: Place | None, by: Person, at: datetime
) -> list[Line]:
    """Unopened packs are no longer the case's; sterile services or stores put them on a shelf."""
    lines = []
    for pack in back:
        row = rows[pack.pk]
        row.returned_at, row.returned_by = at, by
        row.save(update_fields=["returned_at", "returned_by"])
        if place is not None and pack.place_id != place.pk:
            lines.append(Line("pack", pack.pk, pack.place.code, place.code))
            Pack.objects.filter(pk=pack.pk).update(place=place, bin="")
    return lines
