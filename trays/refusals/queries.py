"""Reading what was refused."""

from django.db.models import Count, QuerySet

from trays.refusals.models import RefusedScan


def refused_scans(*, site_id: int) -> QuerySet[RefusedScan]:
    """Scans refused to people who work at the site, the newest first."""
    return RefusedScan.objects.filter(site_id=site_id).select_related("by").order_by("-at", "-pk")


def reasons(*, site_id: int) -> list[tuple[str, int]]:
    """The reason codes of a site's refused scans and how often each came, the commonest first."""
    rows = RefusedScan.objects.filter(site_id=site_id).order_by().values_list("code")
    return [(code, count) for code, count in rows.annotate(n=Count("pk")).order_by("-n", "code")]


def last_refused(*, by_id: int) -> RefusedScan | None:
    """The newest scan that was refused to a person."""
    return RefusedScan.objects.filter(by_id=by_id).order_by("-at", "-pk").first()
