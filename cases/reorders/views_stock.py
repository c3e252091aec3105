"""Pages of stock: a site's families, and one family with its sizes, places and units."""

from collections.abc import Sequence
from datetime import date
from typing import Any, cast

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from cases.reorders.alerts import alerts
from cases.reorders.demand import site_facts
from cases.reorders.forms import UnitFilter
from cases.reorders.pictures import family_pictures
from cases.reorders.queries import (
    FamilyLine,
    SizeLine,
    family_lines,
    family_piles,
    family_units,
    held_words,
    place_rows,
    size_lines,
)
from cases.reorders.tables_stock import FamilyTable, SizeTable
from trays.catalogue.models import Component, Family, Side
from trays.catalogue.words import size_and_side
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.places.choose import site_choice
from trays.staff.models import Person
from trays.stock.models import Unit
from trays.stock.tables import PileTable, UnitLine, UnitTable, pile_lines, unit_lines
from trays.web.errors import NotThere
from trays.web.filters import FilterLink
from trays.web.table import Lines, answer_table, answer_tables
from trays.web.wording import sitetime

# More sizes than this do not stand side by side on a page.
MOST_COLUMNS = 12
# Families named above a picture.
MOST_KIN = 12
# Two pictures of more columns than this do not stand beside each other.
MOST_BESIDE = 9


@require_safe
def stock(request: HttpRequest) -> HttpResponse:
    """Each family of a site: how many are free, which sizes are under what is asked for."""
    by = cast(Person, request.user)
    choice = site_choice(request, act="see_stock", by=by)
    at = timezone.now()
    day = site_day(choice.site, at)
    lines = family_lines(site=choice.site, day=day, found=alerts(site=choice.site, at=at))
    context = {"at": at, "site": choice.site, "sites": choice.links, "says": _says_all(lines)}
    return answer_table(
        request,
        FamilyTable(lines),
        "cases/reorders/stock.html",
        context,
        file_name=f"stock-{choice.site.code}",
    )


def _says_all(lines: Sequence[FamilyLine]) -> str:
    under = [line for line in lines if line.under]
    families = ngettext("%(count)s family.", "%(count)s families.", len(lines)) % {"count": len(lines)}
    if not under:
        return _("%(families)s No size is under what the coming cases ask for.") % {"families": families}
    sizes = sum(len(line.under) for line in under)
    words = ngettext(
        "%(count)s size is under what the coming cases ask for.",
        "%(count)s sizes are under what the coming cases ask for.",
        sizes,
    ) % {"count": sizes}
    return f"{families} {words}"


@require_safe
def stock_family(request: HttpRequest, code: str) -> HttpResponse:
    """One family at a site: its size range, what is wanted, where its units are."""
    by = cast(Person, request.user)
    choice = site_choice(request, act="see_stock", by=by)
    # A null character in an address would not reach every database as a question.
    family = Family.objects.filter(code=code).first() if code.isprintable() else None
    if family is None:
        raise NotThere("no-such-family", _("There is no such family."), _("Choose one from the stock page."))
    at = timezone.now()
    day = site_day(choice.site, at)
    components = list(family.components.select_related("family", "supplier"))
    facts = site_facts(site=choice.site, at=at, also=[component.pk for component in components])
    sizes = size_lines(components, facts)
    units = family_units(site=choice.site, family=family)
    lines = unit_lines(units, day=day, held=held_words([unit.pk for unit in units]))
    form = UnitFilter(request.GET)
    context: dict[str, Any] = {
        "at": at,
        "site": choice.site,
        "sites": choice.links,
        "family": family,
        "suppliers": ", ".join(sorted({component.supplier.name for component in components})),
        "says": _says_family(sizes, lines),
        "which": _which(form, lines) if lines else (),
        "places": _places(units, components),
        "size_heads": _columns(components),
        "pictures": family_pictures(sizes, site=choice.site, day=day),
        "kin": _kin(family, components, choice.site),
        "side_by_side": 0 < len(_columns(components)) <= MOST_BESIDE,
    }
    tables = {
        "sizes": SizeTable(sizes, prefix="sizes-"),
        "units": _units(form, lines, choice.site, family, day),
    }
    return answer_tables(
        request,
        tables,
        "cases/reorders/family.html",
        context,
        file_name=f"stock-{family.code}-{choice.site.code}",
    )


def _kin(family: Family, components: Sequence[Component], site: Site) -> list[FilterLink]:
    """The families of the same suppliers and kind, this one marked: to go from one to the next."""
    suppliers = {component.supplier_id for component in components}
    rows = Family.objects.filter(kind=family.kind, components__supplier__in=suppliers).distinct()
    return [
        FilterLink(row.name, f"{reverse('stock-family', args=[row.code])}?site={site.code}", row == family)
        for row in rows.order_by("slot", "name")[:MOST_KIN]
    ]


def _units(form: UnitFilter, lines: Sequence[UnitLine], site: Site, family: Family, day: date) -> Lines:
    if family.kind == Family.Kind.CONSUMABLE:
        return PileTable(pile_lines(family_piles(site=site, family=family), day=day), prefix="units-")
    chosen = form.chosen
    return UnitTable(
        [line for line in lines if _in(chosen.get("state", ""), line) and _of_side(chosen, line)],
        prefix="units-",
    )


def _in(state: str, line: UnitLine) -> bool:
    return {"free": line.free, "held": bool(line.held_for), "dated": bool(line.dated)}.get(state, True)


def _of_side(chosen: dict[str, Any], line: UnitLine) -> bool:
    wanted = chosen.get("side", "")
    return not wanted or line.side == str(Side(wanted).label).upper()


def _which(form: UnitFilter, lines: Sequence[UnitLine]) -> list[FilterLink]:
    def count(state: str) -> int:
        return sum(1 for line in lines if _in(state, line))

    return form.links(
        "state",
        [
            (None, _("All %(count)s") % {"count": len(lines)}),
            ("free", _("Free, %(count)s") % {"count": count("free")}),
            ("held", _("Held, %(count)s") % {"count": count("held")}),
            ("dated", _("Short-dated or out of date, %(count)s") % {"count": count("dated")}),
        ],
    )


def _columns(components: Sequence[Component]) -> list[tuple[str, int]]:
    """The sizes to stand side by side, with their rank; none for a family with a second measure."""
    if any(component.second for component in components):
        return []
    columns = sorted({(component.size_rank, component.size) for component in components if component.size})
    return [(size, rank) for rank, size in columns] if len(columns) <= MOST_COLUMNS else []


def _places(units: Sequence[Unit], components: Sequence[Component]) -> list[dict[str, Any]]:
    """Places by side, for families whose sizes fit side by side."""
    columns = _columns(components)
    if not columns:
        return []
    groups = []
    for side in (Side.LEFT, Side.RIGHT, Side.NONE):
        rows = place_rows(units, columns, [side])
        if rows:
            groups.append({"side": "" if side == Side.NONE else str(side.label).upper(), "rows": rows})
    return groups


def _says_family(sizes: Sequence[SizeLine], lines: Sequence[UnitLine]) -> str:
    total = sum(line.on_hand for line in sizes)
    under = [line for line in sizes if line.over < 0]
    sentences = [ngettext("%(count)s on site.", "%(count)s on site.", total) % {"count": total}]
    if under:
        named = ", ".join(size_and_side(line.component) for line in under[:4])
        more = len(under) - 4
        names = _("%(named)s and %(count)s more") % {"named": named, "count": more} if more > 0 else named
        sentences.append(
            ngettext(
                "Size under what the coming cases ask for: %(names)s.",
                "Sizes under what the coming cases ask for: %(names)s.",
                len(under),
            )
            % {"names": names}
        )
    else:
        sentences.append(_("No size is under what the coming cases ask for."))
    coming = sorted((one for line in sizes for one in line.coming), key=lambda one: one.due)
    if coming:
        pieces = sum(one.pieces for one in coming)
        sentences.append(
            ngettext(
                "%(count)s is on order, due %(day)s.",
                "%(count)s are on order, the first due %(day)s.",
                pieces,
            )
            % {"count": pieces, "day": sitetime(coming[0].due, "day")}
        )
    dated = sum(1 for line in lines if line.dated)
    if dated:
        sentences.append(
            ngettext(
                "%(count)s unit is short-dated or out of date.",
                "%(count)s units are short-dated or out of date.",
                dated,
            )
            % {"count": dated}
        )
    return " ".join(sentences)
