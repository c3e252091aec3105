"""The kinds of slot for which a site gives no implant card: kept by the hospital."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import PlanSlot
from cases.usage.models import CardExempt
from trays.catalogue.models import Family
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.parties.models import Site
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal


def card_exempt_set(
    *, by: Person, site: Site, slots: Sequence[str], at: datetime, client_key: UUID | None = None
) -> list[CardExempt]:
    """Say for which kinds of slot no card is given here from now on; kinds that are left out get one again.

    What is on record stays as it is. Raises Refusal "no-such-slot", "nothing-changes"; NotAllowed.
    """
    require(by=by, act="set_count_policy", site_id=site.pk)
    wanted = set(slots)
    strange = wanted - known_slots()
    if strange:
        raise Refusal(
            "no-such-slot",
            _("No family and no plan has the slot “%(slot)s”.") % {"slot": sorted(strange)[0]},
            _("Choose of those on file."),
        )

    def work() -> list[CardExempt]:
        now = {row.slot: row for row in CardExempt.objects.filter(site=site, ended_at__isnull=True)}
        gone = sorted(set(now) - wanted)
        new = sorted(wanted - set(now))
        if not gone and not new:
            raise Refusal("nothing-changes", _("It is kept so already."), _("Nothing more to do."))
        CardExempt.objects.filter(pk__in=[now[slot].pk for slot in gone]).update(ended_at=at)
        made = [CardExempt.objects.create(site=site, slot=slot, since=at, by=by) for slot in new]
        lines = [Line("card_exempt", now[slot].pk, "in force", "ended") for slot in gone]
        lines += [Line("card_exempt", row.pk, "", "in force") for row in made]
        record(
            chain=site.code, verb="card_exempt.set", by=by, at=at, client_key=client_key, answer={},
            lines=lines,
        )  # fmt: skip
        return exempt_of(site)

    return act_once(
        verb="card_exempt.set", by=by, client_key=client_key, work=work, replay=lambda answer: exempt_of(site)
    )


def exempt_of(site: Site) -> list[CardExempt]:
    """What is in force at a site, by name (one query)."""
    return list(CardExempt.objects.filter(site=site, ended_at__isnull=True).order_by("slot"))


def known_slots() -> set[str]:
    """The kinds of slot that families and plans name (two queries)."""
    of_families = set(Family.objects.exclude(slot="").values_list("slot", flat=True))
    return of_families | set(PlanSlot.objects.values_list("code", flat=True))
