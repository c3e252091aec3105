"""Reading organisations and sites."""

from trays.parties.models import Site


def own_locations() -> tuple[str, ...]:
    """The location numbers under which this hospital numbers its own sheets (one query)."""
    rows = Site.objects.values_list("gln", "party__gln")
    return tuple(sorted({gln or of_party for gln, of_party in rows} - {""}))
