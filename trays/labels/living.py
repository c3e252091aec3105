"""What lives on a shelf, in words for its label: from what lies there now, without numbers or owners."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.utils.translation import gettext as _

from trays.instruments.models import Pack
from trays.stock.models import Pile, Unit


@dataclass
class _Shelf:
    # family → size by its rank
    families: dict[str, dict[int, str]] = field(default_factory=lambda: defaultdict(dict))
    designs: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))


def lives_at(place_ids: Iterable[int]) -> dict[int, tuple[str, str]]:
    """By place: what lives there, and its size or set where that is one thing. Three queries."""
    shelves: dict[int, _Shelf] = defaultdict(_Shelf)
    ids = list(place_ids)
    things = ("place_id", "component__family__name", "component__size_rank", "component__size")
    units = Unit.objects.filter(place_id__in=ids, state__in=Unit.ON_HAND)
    piles = Pile.objects.filter(place_id__in=ids, quantity__gt=0)
    for rows in (units, piles):
        for place_id, family, rank, size in rows.order_by(*things).values_list(*things).distinct():
            shelves[place_id].families[family][rank] = size
    packs = Pack.objects.filter(place_id__in=ids).exclude(state__in=Pack.GONE)
    columns = ("place_id", "set__version__design__name", "set__code")
    for place_id, design, code in packs.order_by(*columns).values_list(*columns).distinct():
        shelves[place_id].designs[design].add(code)
    return {place_id: _words(shelf) for place_id, shelf in shelves.items()}


def _words(shelf: _Shelf) -> tuple[str, str]:
    what = "; ".join([*shelf.designs, *shelf.families])
    if len(shelf.designs) + len(shelf.families) != 1:
        return what, ""
    for codes in shelf.designs.values():
        return what, _("set %(code)s") % {"code": next(iter(codes))} if len(codes) == 1 else ""
    sizes = [size for family in shelf.families.values() for _rank, size in sorted(family.items()) if size]
    if not sizes:
        return what, ""
    if len(sizes) == 1:
        return what, _("size %(size)s") % {"size": sizes[0]}
    return what, _("sizes %(first)s to %(last)s") % {"first": sizes[0], "last": sizes[-1]}
