"""Counting what an agreement has on the shelf, and ending an agreement."""

from collections.abc import Mapping
from datetime import date, datetime
from uuid import UUID

from django.db.models import Count
from django.utils.translation import gettext as _

from trays.catalogue.models import Component
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.loans.models_agreements import Agreement, AgreementCount, AgreementCountLine
from trays.parties.models import Tenure
from trays.parties.queries import site_day
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock.models import Unit
from trays.web.errors import Refusal

MOST_SEEN = 9999


def agreement_count(
    *,
    by: Person,
    agreement: Agreement,
    seen: Mapping[int, int],
    with_supplier: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> AgreementCount:
    """Take down a count of an agreement's stock: by the id of each component how many were seen.

    Kept beside what the record had on hand at this moment. Stock itself is adjusted by a stock take.
    Raises Refusal "nothing-counted", "seen-out-of-range", "not-agreed", "agreement-ended"; NotAllowed.
    """
    site = agreement.site
    require(by=by, act="count_stock", site_id=site.pk)
    if not seen:
        raise Refusal("nothing-counted", _("Nothing was counted."), _("Enter what you saw."))
    if any(not 0 <= count <= MOST_SEEN for count in seen.values()):
        raise Refusal("seen-out-of-range", _("This is no count."), _("Put the number right."))

    def work() -> AgreementCount:
        own = _open(agreement, site_day(site, at))
        there = _there(own)
        agreed = set(own.lines.values_list("component_id", flat=True))
        if set(seen) - agreed - set(there):
            raise Refusal(
                "not-agreed",
                _("Something was counted that is neither agreed nor on the shelf by the record."),
                _("Receive it first, or leave it out."),
            )
        made = AgreementCount.objects.create(
            agreement=own, day=site_day(site, at), at=at, by=by, with_supplier=with_supplier
        )
        AgreementCountLine.objects.bulk_create(
            [
                AgreementCountLine(count=made, component_id=pk, expected=there.get(pk, 0), seen=count)
                for pk, count in sorted(seen.items())
            ]
        )
        record(
            chain=site.code, verb="agreement.count", by=by, at=at, client_key=client_key,
            answer={"count": made.pk}, lines=[Line("agreement", own.pk, "", "counted")],
        )  # fmt: skip
        return made

    return act_once(
        verb="agreement.count",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: AgreementCount.objects.get(pk=answer["count"]),
    )


def agreement_end(
    *, by: Person, agreement: Agreement, last: date, at: datetime, client_key: UUID | None = None
) -> Agreement:
    """End an agreement with a last day. What is on the shelf stays the supplier's until used or sent back.

    Raises Refusal "agreement-ended", "ends-before-it-begins"; NotAllowed.
    """
    site = agreement.site
    require(by=by, act="keep_agreements", site_id=site.pk)

    def work() -> Agreement:
        own = _open(agreement, site_day(site, at))
        if last < own.valid_from:
            raise Refusal(
                "ends-before-it-begins",
                _("It begins on %(day)s.") % {"day": own.valid_from.isoformat()},
                _("Give a later day."),
            )
        before = own.valid_until
        own.valid_until = last
        own.save(update_fields=["valid_until"])
        record(
            chain=site.code, verb="agreement.end", by=by, at=at, client_key=client_key,
            answer={"agreement": own.pk},
            lines=[
                Line("agreement", own.pk, before.isoformat() if before else "", last.isoformat())
            ],
        )  # fmt: skip
        return own

    return act_once(
        verb="agreement.end",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Agreement.objects.get(pk=answer["agreement"]),
    )


def counted_components(agreement: Agreement) -> list[Component]:
    """What a count of an agreement goes through: all that is agreed, and whatever else of it is on hand."""
    ids = {*agreement.lines.values_list("component_id", flat=True), *_there(agreement)}
    rows = Component.objects.filter(pk__in=ids).select_related("family")
    return list(rows.order_by("family__name", "side", "size_rank", "second_rank"))


def _open(agreement: Agreement, day: date) -> Agreement:
    list(Agreement.objects.select_for_update().filter(pk=agreement.pk).values_list("pk", flat=True))
    own = Agreement.objects.select_related("site", "supplier").get(pk=agreement.pk)
    if own.valid_until is not None and own.valid_until < day:
        raise Refusal(
            "agreement-ended",
            _("Agreement %(code)s has ended.") % {"code": own.code},
            _("Look at the agreement that followed it."),
        )
    return own


def _there(agreement: Agreement) -> dict[int, int]:
    rows = Unit.objects.filter(
        site_id=agreement.site_id,
        owner_id=agreement.supplier_id,
        tenure=Tenure.CONSIGNED,
        state__in=Unit.ON_HAND,
    )
    return dict(rows.order_by().values_list("component_id").annotate(n=Count("pk")))
