"""What changes things of use apart from the round: their care."""

from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from trays.instruments.care import round_of
from trays.instruments.models_pieces import Care
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.parties.queries import site_day
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal


def care_done(*, by: Person, care: Care, at: datetime, client_key: UUID | None = None) -> Care:
    """Take down that a thing's care was done: days and uses count from now on.

    Raises Refusal "done-already" when it was done today in this round; NotAllowed "not-your-act".
    """
    site = care.set.site if care.set else care.piece.site  # type: ignore[union-attr]
    require(by=by, act="process_packs", site_id=site.pk)

    def work() -> Care:
        row = (
            Care.objects.select_for_update(of=("self",)).select_related("set", "piece__pack").get(pk=care.pk)
        )
        now = (site_day(site, at), round_of(row))
        if (row.done_on, row.done_round) == now:
            raise Refusal(
                "done-already",
                _("This was taken down as done today already: %(what)s.") % {"what": row.what},
                _("Nothing more to do."),
            )
        before = row.done_on.isoformat()
        row.done_on, row.done_round = now
        row.save(update_fields=["done_on", "done_round"])
        record(
            chain=site.code, verb="care.done", by=by, at=at, client_key=client_key, answer={"care": row.pk},
            lines=[Line("care", row.pk, before, row.done_on.isoformat())],
        )  # fmt: skip
        return row

    return act_once(
        verb="care.done",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Care.objects.get(pk=answer["care"]),
    )
