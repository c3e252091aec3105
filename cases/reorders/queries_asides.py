"""Alerts that were set aside."""

from cases.reorders.models import SetAside
from trays.parties.models import Site


def asides_at(*, site: Site) -> dict[int, SetAside]:
    """By component what was set aside at a site and not taken up again, whether its facts hold or not (one
    query).
    """
    rows = SetAside.objects.filter(site=site, ended_at__isnull=True).select_related("by")
    return {row.component_id: row for row in rows}
