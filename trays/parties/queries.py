"""Reading organisations and sites."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from trays.parties.models import Site


def site_day(site: Site, at: datetime) -> date:
    """The calendar day at the site at that moment."""
    return at.astimezone(ZoneInfo(site.zone)).date()


def own_locations() -> tuple[str, ...]:
    """The location numbers under which this hospital numbers its own sheets (one query)."""
    rows = Site.objects.values_list("gln", "party__gln")
    return tuple(sorted({gln or of_party for gln, of_party in rows} - {""}))
