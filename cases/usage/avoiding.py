"""Materials that a case is to avoid, as the surgeon asked: checked at every scan before opening."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.reservations import locking
from cases.usage.models import MaterialConstraint
from trays.catalogue.models import Family
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.staff.access import may, require
from trays.staff.models import Person
from trays.web.errors import Refusal


def materials_set(
    *, by: Person, case: Case, materials: Sequence[str], at: datetime, client_key: UUID | None = None
) -> list[MaterialConstraint]:
    """Say which materials of the catalogue the case is to avoid from now on; those left out are no longer.

    Who books the case may, and who records in theatre. Raises Refusal "no-such-material", "nothing-changes";
    NotAllowed.
    """
    if not may(by=by, act="record_use", site_id=case.site_id):
        require(by=by, act="book_case", site_id=case.site_id)
    wanted = set(materials)
    strange = sorted(wanted - set(known_materials()))
    if strange:
        raise Refusal(
            "no-such-material",
            _("No family of the catalogue is of “%(material)s”.") % {"material": strange[0]},
            _("Choose of those on file, so that a scan can be checked against it."),
        )

    def work() -> list[MaterialConstraint]:
        locking.lock(cases=[case.pk])
        now = {row.material: row for row in avoided_of(case)}
        gone, new = sorted(set(now) - wanted), sorted(wanted - set(now))
        if not gone and not new:
            raise Refusal("nothing-changes", _("It is kept so already."), _("Nothing more to do."))
        ended = [now[material].pk for material in gone]
        MaterialConstraint.objects.filter(pk__in=ended).update(ended_at=at, ended_by=by)
        made = [MaterialConstraint.objects.create(case=case, material=one, since=at, by=by) for one in new]
        lines = [Line("material_constraint", pk, "in force", "ended") for pk in ended]
        lines += [Line("material_constraint", row.pk, "", "in force") for row in made]
        record(
            chain=case.site.code, verb="case.avoid-materials", by=by, at=at, client_key=client_key, answer={},
            lines=lines,
        )  # fmt: skip
        return avoided_of(case)

    return act_once(
        verb="case.avoid-materials", by=by, client_key=client_key, work=work,
        replay=lambda answer: avoided_of(case),
    )  # fmt: skip


def avoided_of(case: Case) -> list[MaterialConstraint]:
    """What is in force for a case with who said so, by name (one query)."""
    rows = MaterialConstraint.objects.filter(case=case, ended_at__isnull=True)
    return list(rows.select_related("by").order_by("material"))


def known_materials() -> list[str]:
    """The materials that families of the catalogue are of (one query)."""
    rows = Family.objects.exclude(material="").order_by("material").values_list("material", flat=True)
    return list(rows.distinct())
