"""Reading count sheets: a pack as it really is, with what it lacks; soft goods and sharps of the plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from django.db.models import QuerySet
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts.kinds import (
    CountRow,
    CountSection,
    CountSheetView,
    SoftRow,
    SoftSection,
    StageHead,
)
from cases.counts.kinds_template import TemplatePlan
from cases.counts.models import CountSheet
from cases.counts.models_counts import TheatreCount
from cases.counts.models_templates import CountClass, StageKind
from cases.counts.running_order import in_order, line_note, loose_first, loose_kinds, section_of
from cases.counts.templates_read import plan_for, plan_from
from cases.picks.models import PickLine
from cases.picks.papers import sheet_code
from cases.picks.reading import position_words, short_date, short_moment, sides_of
from trays.catalogue.models import Component
from trays.identifiers import ours
from trays.identifiers.gs1 import Malformed
from trays.instruments.models import ContentsLine, Pack, PackLine

BLANK_KINDS = 3


def sheets(case: Case) -> QuerySet[CountSheet]:
    """The case's sheets in the order of the count: soft goods, sharps and small items where the template has
    them, packs by set and tray.
    """
    rows = CountSheet.objects.filter(case=case).select_related("pack__set__version__design", "made_by")
    kind = "-kind" if loose_first([one.klass for one in plan_of_case(case).classes]) else "kind"
    return rows.order_by(kind, "pack__set__code", "pack__tray", "pk")


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

    10 queries at most: contents lines, actual lines, the plan's consumables, sides, the number on the theatre
    list, and five for the template.
    """
    plan = plan_of_case(case)
    packs = [row.pack for row in rows if row.pack]
    contents = _contents(packs)
    actual = {
        (line.pack_id, line.line_id): line.present for line in PackLine.objects.filter(pack__in=packs)
    }
    soft = _soft(case, plan)
    facts = _Facts(case, at, plan)
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

    def __init__(self, case: Case, at: datetime, plan: TemplatePlan) -> None:
        self.case, self.site = case, case.site
        self.side = sides_of(case)
        self.position = position_words(case)
        self.printed = short_moment(at, case.site)
        self.stages, self.direction = heads_of(plan), plan.direction
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
            direction=self.direction,
        )


def caution() -> str:
    """Stands on page and sheet: how it is counted, and what the sheet is not."""
    return _(
        "Count aloud, two people together, always one way round. "
        "This sheet supports your count and replaces none of it; local policy leads."
    )


def stages(case: Case) -> tuple[StageHead, ...]:
    """The stages by which the case is counted, in order; the screen counts by the same ones."""
    return heads_of(plan_of_case(case))


def heads_of(plan: TemplatePlan) -> tuple[StageHead, ...]:
    """The columns of a sheet: an extra count is asked for, and has none beforehand."""
    return tuple(StageHead(one.mark, one.word) for one in plan.stages if one.kind != StageKind.EXTRA)


def plan_of_case(case: Case) -> TemplatePlan:
    """How the case is counted: by its own template once it is open, else by the one in force (five queries at
    most).
    """
    opened = TheatreCount.objects.filter(case=case).select_related("template").first()
    return plan_from(opened.template) if opened is not None else plan_for(case.site, case.procedure_id)


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
    titles: dict[str, list[CountRow]] = {}
    lacking = 0
    for number, line in enumerate(in_order(contents), start=1):
        present = actual.get((pack.pk, line.pk))
        lacking += max(0, line.quantity - (present or 0))
        titles.setdefault(section_of(line), []).append(_row(number, line, present))
    return tuple(CountSection(title, tuple(rows)) for title, rows in titles.items()), lacking


def _row(number: int, line: ContentsLine, present: int | None) -> CountRow:
    thing = line.instrument or line.rack_stock
    parts = line.instrument.parts if line.instrument else 1
    note = line_note(parts, line.quantity, present)
    return CountRow(number, str(thing), note, present or 0, line.critical)


def _soft(case: Case, plan: TemplatePlan) -> tuple[SoftSection, ...]:
    """The kinds that are counted, each once however many sides the case has, in the site's order of classes.

    How many there are is counted, never copied from the plan, which says per side what is brought.
    """
    words = {one.klass: one.word for one in plan.classes}
    found: dict[str, list[Component]] = {}
    for one in loose_kinds(case.plan_id, list(words)):
        found.setdefault(one.count_class, []).append(one)
    return tuple(
        SoftSection(
            class_title(words.get(klass, str(CountClass(klass).label)), [one.count_multiple for one in ones]),
            tuple(SoftRow(one.name, in_packs(one.count_multiple)) for one in ones),
        )
        for klass, ones in found.items()
    )


def in_packs(multiple: int) -> str:
    """How a kind is packed: its number, or a dot for single ones."""
    return str(multiple) if multiple > 1 else "·"


def class_title(word: str, multiples: Sequence[int]) -> str:
    """What stands over a class; with the number where all of it is packed alike."""
    alike = set(multiples)
    if len(alike) == 1 and alike != {1}:
        return _("%(class)s: packed and counted in %(n)s") % {"class": word, "n": alike.pop()}
    return word
