"""Finding places."""

from trays.places.models import Place


def place_by_label(gln: str, extension: str = "") -> Place | None:
    """The place that a location label names: GLN and, for a shelf or bin, its extension."""
    return Place.objects.filter(gln=gln, extension=extension).select_related("site").first() if gln else None


def place_by_code(*, site_id: int, code: str) -> Place | None:
    """A site's place by its code, letters' case ignored."""
    return Place.objects.filter(site_id=site_id, code__iexact=code).select_related("site").first()
