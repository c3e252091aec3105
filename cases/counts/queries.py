"""Reading count sheets: a pack as it really is, with what it lacks; soft goods and sharps of the plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from django.db.models import QuerySet
from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _

from cases.bookings.models import Case, PlanConsumable
from cases.counts.kinds import (
    CountRow,
    CountSection,
    CountSheetView,
    SoftRow,
    SoftSection,
    StageHead,
)
from cases.counts.models import CountSheet
from cases.picks.models import PickLine
from cases.picks.papers import sheet_code
from cases.picks.reading import position_words, short_date, short_moment, sides_of
from trays.catalogue.models import Component
from trays.identifiers import ours
from trays.identifiers.gs1 import Malformed
from trays.instruments.models import ContentsLine, Pack, PackLine
from trays.parties.models import Site

BLANK_KINDS = 3


def sheets(case: Case) -> QuerySet[CountSheet]:
    """The case's sheets in the order of the count: soft goods first, then packs by set and tray."""
    rows = CountSheet.objects.filter(case=case).select_related("pack__set__version__design", "made_by")
    return rows.order_by("-kind", "pack__set__code", "pack__tray", "pk")


def sheets_in_force(case: Case) -> QuerySet[CountSheet]:
    """Those that no later ones have replaced."""
    return sheets(case).filter(replaced_at__isnull=True)


def stale(case: Case, rows: Sequence[CountSheet]) -> str:
    """In words, when the sheets no longer go with the pick list or a pack; "" while they do. One query."""
    picked = PickLine.objects.filter(
        pick_list__case=case, pick_list__replaced_at__isnull=True, pack__isnull=False
    )
    on_list = dict(picked.values_list("pack_id", "pack__round"))
    on_paper = {row.pack_id: row.pack_round for row in rows if row.pack_id}
    if set(on_list) != set(on_paper):
        return _("The pick list now has other packs than these sheets.")
    if on_list != on_paper:
        return _("A pack has been through the round again since these sheets were made.")
    return ""


def views_of(case: Case, rows: Sequence[CountSheet], *, at: datetime) -> tuple[CountSheetView, ...]:
    """What the sheets say. `case` comes with site, list, theatre, procedure and plan.

    5 queries: contents lines, actual lines, the plan's consumables, sides, the number on the theatre list.
    """
    packs = [row.pack for row in rows if row.pack]
    contents = _contents(packs)
    actual = {
        (line.pack_id, line.line_id): line.present for line in PackLine.objects.filter(pack__in=packs)
    }
    soft = _soft(case)
    facts = _Facts(case, at)
    return tuple(
        facts.view(
            row,
            place=(number, len(rows)),
            contents=contents.get(_tray(row.pack), []) if row.pack else [],
            actual=actual,
            soft=() if row.pack else soft,
            trays=sum(version == row.pack.set.version_id for version, _tray_no in contents)
            if row.pack
            else 0,
        )
        for number, row in enumerate(rows, start=1)
    )


class _Facts:
    """What all sheets of one case have in common."""

    def __init__(self, case: Case, at: datetime) -> None:
        self.case, self.site = case, case.site
        self.side = sides_of(case)
        self.position = position_words(case)
        self.printed = short_moment(at, case.site)
        self.stages = stages(case.site)
        self.language = get_language() or "en-gb"

    def view(
        self,
        row: CountSheet,
        *,
        place: tuple[int, int],
        contents: Sequence[ContentsLine],
        actual: Mapping[tuple[int, int], int],
        soft: tuple[SoftSection, ...],
        trays: int,
    ) -> CountSheetView:
        pack = row.pack
        sections, lacking = _sections(pack, contents, actual) if pack else ((), 0)
        return CountSheetView(
            kind=row.kind,
            number=row.number,
            code=sheet_code(self.site, row.number),
            subject=_subject(pack, trays),
            side=self.side,
            operation=self.case.procedure.name,
            reference=self.case.reference,
            day=short_date(self.case.list.day),
            theatre=self.case.list.theatre.name,
            position=self.position,
            sheet_of_case=_("%(n)s of %(all)s") % {"n": place[0], "all": place[1]},
            pack=f"{pack.number}-{row.pack_round}" if pack else "",
            pack_code=pack_code(pack, row.pack_round),
            contents_list=_("v %(version)s") % {"version": pack.set.version.version} if pack else "",
            short=_("short %(n)s") % {"n": lacking} if lacking else "",
            stages=self.stages,
            sections=sections,
            soft=soft,
            added_rows=self.site.added_rows,
            blank_kinds=0 if pack else BLANK_KINDS,
            caution=caution(),
            printed=self.printed,
            language=self.language,
        )


def caution() -> str:
    """Stands on page and sheet: how it is counted, and what the sheet is not."""
    return _(
        "Count aloud, two people together, always one way round. "
        "This sheet supports your count and replaces none of it; local policy leads."
    )


def stages(site: Site) -> tuple[StageHead, ...]:
    """The site's count stages. A stage is a word, numbered in order, or a pair of a letter and a word."""
    heads = []
    for number, stage in enumerate(site.count_stages, start=1):
        mark, word = stage if isinstance(stage, list | tuple) else (str(number), stage)
        heads.append(StageHead(str(mark), str(word)))
    return tuple(heads)


def pack_code(pack: Pack | None, pack_round: int | None) -> str:
    """The pack's own code with its round; "" for a pack without an asset number."""
    if pack is None or not pack.giai:
        return ""
    try:
        return ours.pack_label("", pack.giai, str(pack_round or pack.round))
    except Malformed:
        return ""


def _tray(pack: Pack) -> tuple[int, int]:
    return pack.set.version_id, pack.tray


def _contents(packs: Sequence[Pack]) -> dict[tuple[int, int], list[ContentsLine]]:
    found: dict[tuple[int, int], list[ContentsLine]] = {}
    lines = ContentsLine.objects.filter(version_id__in={pack.set.version_id for pack in packs})
    for line in lines.select_related("instrument", "rack_stock").order_by("version_id", "tray", "number"):
        found.setdefault((line.version_id, line.tray), []).append(line)
    return found


def _subject(pack: Pack | None, trays: int) -> str:
    if pack is None:
        return _("Soft goods, sharps, small items")
    name = pack.set.version.design.name
    return _("%(set)s, tray %(n)s") % {"set": name, "n": pack.tray} if trays > 1 else name


def _sections(
    pack: Pack, contents: Sequence[ContentsLine], actual: Mapping[tuple[int, int], int]
) -> tuple[tuple[CountSection, ...], int]:
    """The pack's lines from the top of the tray down, then rack stock by size; how many pieces it lacks."""
    racked = [line for line in contents if line.rack_stock]
    racked.sort(key=lambda line: _size(line.rack_stock))
    titles: dict[str, list[CountRow]] = {}
    lacking = 0
    for number, line in enumerate([*(line for line in contents if line.instrument), *racked], start=1):
        present = actual.get((pack.pk, line.pk))
        lacking += max(0, line.quantity - (present or 0))
        title = _("Rack stock, by size") if line.rack_stock else line.section or _("Contents")
        titles.setdefault(title, []).append(_row(number, line, present))
    return tuple(CountSection(title, tuple(rows)) for title, rows in titles.items()), lacking


def _size(component: Component | None) -> tuple[int, int, int]:
    return (component.family_id, component.size_rank, component.second_rank) if component else (0, 0, 0)


def _row(number: int, line: ContentsLine, present: int | None) -> CountRow:
    thing = line.instrument or line.rack_stock
    notes = []
    parts = line.instrument.parts if line.instrument else 1
    if parts > 1:
        notes.append(ngettext("%(n)s part", "%(n)s parts", parts) % {"n": parts})
    if present is None:
        notes.append(_("list %(list)s, not recorded as packed") % {"list": line.quantity})
    elif present < line.quantity:
        notes.append(
            _("list %(list)s, short %(short)s") % {"list": line.quantity, "short": line.quantity - present}
        )
    elif present > line.quantity:
        notes.append(
            _("list %(list)s, %(more)s more") % {"list": line.quantity, "more": present - line.quantity}
        )
    return CountRow(number, str(thing), "; ".join(notes), present or 0, line.critical)


def _soft(case: Case) -> tuple[SoftSection, ...]:
    """The kinds that are counted, each once however many sides the case has.

    How many there are is counted, never copied from the plan, which says per side what is brought.
    """
    classes = Component.CountClass
    rows: dict[str, list[Component]] = {kind: [] for kind in (classes.SOFT, classes.SHARP, classes.SMALL)}
    consumables = PlanConsumable.objects.filter(plan_id=case.plan_id, component__count_class__in=rows)
    for one in consumables.select_related("component").order_by("component__name"):
        rows[one.component.count_class].append(one.component)
    return tuple(
        SoftSection(_class_title(kind, ones), tuple(SoftRow(one.name, _in_packs(one)) for one in ones))
        for kind, ones in rows.items()
        if ones
    )


def _in_packs(component: Component) -> str:
    return str(component.count_multiple) if component.count_multiple > 1 else "·"


def _class_title(kind: str, ones: Sequence[Component]) -> str:
    if kind == Component.CountClass.SHARP:
        return _("Sharps")
    if kind == Component.CountClass.SMALL:
        return _("Other things that count")
    multiples = {one.count_multiple for one in ones}
    if len(multiples) == 1 and multiples != {1}:
        return _("Soft goods: packed and counted in %(n)s") % {"n": multiples.pop()}
    return _("Soft goods")
