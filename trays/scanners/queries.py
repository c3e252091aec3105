"""Reading workstations."""

from collections.abc import Iterable

from django.db.models import QuerySet

from trays.scanners.models import Workstation


def workstations(site_ids: Iterable[int]) -> QuerySet[Workstation]:
    """The workstations of the sites, by site and name."""
    rows = Workstation.objects.filter(site_id__in=list(site_ids))
    return rows.select_related("site", "place").order_by("site__name", "name")
