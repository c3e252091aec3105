"""Marks on facts: made within the act that takes the fact down, cleared by whoever has looked into it."""

from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import Case, Construct
from cases.usage.models import Brought, Mark, MarkKind
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.staff.access import may, require
from trays.staff.models import Person
from trays.web.errors import Refusal

FACTS = "see_theatre"
"""Who may be in theatre may take down what happened there; whose role does not include it is marked."""


def in_theatre(*, by: Person, site_id: int) -> bool:
    """Whether recording use is the person's own role. Raises NotAllowed "not-your-act" for somebody who has
    no part in the theatre at all.
    """
    require(by=by, act=FACTS, site_id=site_id)
    return may(by=by, act="record_use", site_id=site_id)


def mark_within(
    *,
    case: Case,
    kind: str,
    by: Person,
    at: datetime,
    brought: Brought | None = None,
    construct: Construct | None = None,
    words: str = "",
) -> Line:
    """Mark a fact within its act; return the event's line."""
    made = Mark.objects.create(
        case=case, kind=kind, brought=brought, construct=construct, words=words[:300], made_at=at, by=by
    )
    return Line("mark", made.pk, "", kind)


def right_marked(
    *, own_role: bool, case: Case, by: Person, at: datetime, brought: Brought | None = None
) -> list[Line]:
    """The mark of a fact that somebody took down whose role does not include it."""
    if own_role:
        return []
    return [mark_within(case=case, kind=MarkKind.NO_RIGHT, by=by, at=at, brought=brought, words=by.name)]


def mark_clear(*, by: Person, mark: Mark, words: str, at: datetime, client_key: UUID | None = None) -> Mark:
    """Say what came of something marked; it leaves the list of what is chased.

    Raises Refusal "words-missing", "cleared-already"; NotAllowed.
    """
    site = mark.case.site
    require(by=by, act=FACTS, site_id=site.pk)
    if not words.strip():
        raise Refusal("words-missing", _("Nothing is said."), _("Say in a few words what came of it."))

    def work() -> Mark:
        row = Mark.objects.select_for_update().get(pk=mark.pk)
        if row.cleared_at is not None:
            raise Refusal(
                "cleared-already", _("Somebody has looked into this already."), _("Load the page again.")
            )
        row.cleared_at, row.cleared_by, row.cleared_words = at, by, words.strip()[:200]
        row.save(update_fields=["cleared_at", "cleared_by", "cleared_words"])
        record(
            chain=site.code, verb="mark.clear", by=by, at=at, client_key=client_key,
            answer={"mark": row.pk}, lines=[Line("mark", row.pk, row.kind, "cleared")],
        )  # fmt: skip
        return row

    return act_once(
        verb="mark.clear",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Mark.objects.get(pk=answer["mark"]),
    )
