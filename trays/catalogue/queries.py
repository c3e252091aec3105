"""Finding components: by trade code, by what people type."""

from django.db.models import Q

from trays.catalogue.models import Component, Family, PackLevel

SEARCH_LIMIT = 20


def component_by_gtin(code: str) -> tuple[Component, int] | None:
    """The component that a trade code stands for, and how many of it; None if it is not on file.

    Codes are kept as the file gave them: the 14 digits are tried first, then the same without leading zeros.
    """
    full = code.rjust(14, "0")
    tries = {code, full, *(full[-length:] for length in (13, 12, 8) if full.startswith("0" * (14 - length)))}
    level = (
        PackLevel.objects.filter(code__in=tries)
        .select_related("component__family", "component__supplier")
        .first()
    )
    return (level.component, level.quantity) if level else None


def search(text: str, limit: int = SEARCH_LIMIT) -> list[Component]:
    """Components whose code or name holds every word, letters' case ignored; exact codes first."""
    words = text.split()
    if not words:
        return []
    wanted = Q()
    for word in words:
        wanted &= Q(code__icontains=word) | Q(name__icontains=word) | Q(family__name__icontains=word)
    rows = Component.objects.filter(wanted).select_related("family")
    return sorted(
        rows.order_by("family__name", "side", "size_rank", "second_rank")[:limit],
        key=lambda found: found.code.casefold() != text.strip().casefold(),
    )


def families_by_code(code: str) -> Family | None:
    """The family with this code, letters' case ignored."""
    return Family.objects.filter(code__iexact=code).first()
