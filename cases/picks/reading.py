"""From the rows of a pick list to what its page and its sheet say, with a fixed number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta

from django.utils.dateformat import format as date_words
from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.picks.gather import Absent, name_words
from cases.picks.kinds import (
    GroupCount,
    LevelWords,
    NotOnSite,
    PickPlace,
    PickRow,
    PickSheet,
    RunCell,
    SheetVerdict,
    SizeRun,
)
from cases.picks.models import PickLine, PickList
from cases.picks.papers import line_code, line_text, sheet_code
from cases.picks.queries import case_position
from cases.picks.said import Said, SaidRun
from cases.readiness.figures import figures
from cases.readiness.kinds import Level, Word
from cases.reservations.models import SetHold
from cases.reservations.queries import at_site, kept_for, open_holds, operation_day
from trays.catalogue.words import side_word, size_words
from trays.instruments.queries import set_facts
from trays.instruments.ready import PackFacts
from trays.parties.models import Site, Tenure
from trays.places.models import Place
from trays.stock.queries import SHORT_DATED_DAYS
from trays.web.wording import likely, sitetime, verdict_word

Group = PickLine.Group


def sheet_of(pick_list: PickList, *, at: datetime) -> PickSheet:
    """Everything that page and sheet say of a list fetched by `queries.whole_lists`.

    At most 11 queries, whatever its length: lines, sides, number on the theatre list, packs' facts (4), holds
    (2), the case's last entry.
    """
    case, site = pick_list.case, pick_list.case.site
    said = Said.from_json(pick_list.said)
    lines = _lines(pick_list)
    rows = _rows(pick_list, lines, operation_day(case))
    places = _places(lines, rows)
    return PickSheet(
        number=pick_list.number,
        code=sheet_code(site, pick_list.number),
        subject=case.procedure.name,
        side=sides_of(case),
        reference=case.reference,
        day=short_date(case.list.day),
        theatre=case.list.theatre.name,
        position=position_words(case),
        surgeon=case.surgeon.name if case.surgeon else _("not named"),
        starts=sitetime(at_site(case.starts_at, site), "time"),
        made=date_words(at_site(pick_list.made_at, site), "j M H:i"),
        made_by=pick_list.made_by.name,
        verdict=_verdict(said),
        runs=tuple(_run(run) for run in said.runs),
        minimum_added=said.minimum_added,
        minimum_lines=sum(line.site_minimum for line in lines),
        key=_key(lines),
        places=places,
        not_on_site=tuple(_not_on_site(absent) for absent in said.absent),
        changed_since=_changed_since(pick_list, said, lines),
        replaced=_replaced(pick_list, site),
        caution=caution(),
        printed=short_moment(at, site),
        language=get_language() or "en-gb",
    )


def caution() -> str:
    """Stands on page and sheet: what the list is not, and what eyes are for."""
    return _(
        "Sizes are an estimate from the data given; the implant is the surgeon’s choice. "
        "Before use check pack, indicator, date and label with your own eyes; local policy leads."
    )


def short_date(day: date) -> str:
    """ "1 Dec 2026": a day on paper, never its number alone."""
    return date_words(day, "j M Y")


def short_moment(moment: datetime, site: Site) -> str:
    """ "1 Dec 2026 16:05" by the site's clock."""
    return date_words(at_site(moment, site), "j M Y H:i")


def sides_of(case: Case) -> str:
    """The side or sides of the case, in words. One query."""
    sides = [side_word(side) for side in case.constructs.order_by("number").values_list("side", flat=True)]
    return _(" and ").join(side for side in sides if side)


def position_words(case: Case) -> str:
    """ "2 of 4" on the theatre list. One query."""
    positions = case.list.cases.exclude(status=Case.Status.CANCELLED).values_list("position", flat=True)
    before = [position for position in positions if position <= case.position]
    return _("%(n)s of %(all)s") % {"n": len(before), "all": len(positions)}


def group_word(group: str) -> str:
    """The group of a line, within a sentence."""
    return {
        Group.LIKELY: _("likely"),
        Group.KEEP_SEALED: _("keep sealed"),
        Group.CONTINGENCY: _("contingency"),
        Group.CONSUMABLE: _("consumable"),
        Group.SET: _("set"),
    }.get(Group(group), "") if group else ""


def _mark(group: str) -> str:
    return "" if group == Group.SET else group


def _lines(pick_list: PickList) -> list[PickLine]:
    rows = pick_list.lines.select_related(
        "unit", "component__family", "pack__set__version__design", "pile", "place__room"
    )
    return list(rows.order_by("number"))


def _rows(pick_list: PickList, lines: Sequence[PickLine], day: date) -> dict[int, PickRow]:
    site = pick_list.case.site
    set_ids = {line.pack.set_id for line in lines if line.pack}
    facts = {
        pack.pk: (pack, len(one.packs) + len(one.missing_trays))
        for one in set_facts(site_ids=[site.pk], set_ids=set_ids)
        for pack in one.packs
    }
    return {line.number: _row(pick_list.number, site, line, facts, day) for line in lines}


def _row(
    number: str, site: Site, line: PickLine, facts: Mapping[int, tuple[PackFacts, int]], day: date
) -> PickRow:
    name, size, side, lot, until, detail = _what(line, facts, day)
    return PickRow(
        number=line.number,
        code=line_code(site, number, line.number),
        text=line_text(number, line.number),
        name=name,
        size=size,
        side=side,
        lot=lot,
        until=until,
        detail=detail,
        group=line.group,
        group_word=group_word(line.group),
        mark=_mark(line.group),
        site_minimum=line.site_minimum,
        take=line.quantity,
        bin=line.bin,
        chance=line.likelihood,
        thing="unit" if line.unit_id else "pack" if line.pack_id else "pile",
    )


def _what(
    line: PickLine, facts: Mapping[int, tuple[PackFacts, int]], day: date
) -> tuple[str, str, str, str, str, str]:
    if line.pack is not None:
        return _what_pack(line, facts)
    goods = line.unit or line.pile
    component = line.component
    if goods is None or component is None:
        raise ValueError(f"line {line.pk} names nothing")
    lot = goods.lot
    until = short_date(goods.expires) if goods.expires else _("no date")
    parts = [_("lot %(lot)s") % {"lot": lot}] if lot else []
    if line.unit is not None and line.unit.serial:
        parts.append(_("serial %(serial)s") % {"serial": line.unit.serial})
        lot = lot or line.unit.serial
    parts.append(_("use by %(day)s") % {"day": until} if goods.expires else until)
    if line.unit and goods.expires and goods.expires <= day + timedelta(days=SHORT_DATED_DAYS):
        parts.append(_("short-dated"))
    if goods.tenure != Tenure.OWNED:
        parts.append(str(goods.get_tenure_display()).lower())
    name, size = name_words(component), size_words(component)
    return name, size, side_word(component.side), lot, until, " · ".join(parts)


def _what_pack(
    line: PickLine, facts: Mapping[int, tuple[PackFacts, int]]
) -> tuple[str, str, str, str, str, str]:
    pack = line.pack
    if pack is None:
        raise ValueError(f"line {line.pk} is for no pack")
    known, trays = facts.get(pack.pk, (None, 1))
    number = f"{pack.number}-{pack.round}"
    until = short_date(pack.sterile_until) if pack.sterile_until else ""
    parts = [
        _("pack %(number)s") % {"number": number},
        _("sterile until %(day)s") % {"day": until}
        if until
        else _("sterile unless opened, wet, torn or dropped"),
    ]
    if known and known.lacks:
        short = ", ".join(f"{lack.missing} {lack.name}" for lack in known.lacks)
        parts.append(_("short %(what)s") % {"what": short})
    if pack.weight_grams:
        parts.append(_("%(kg)s kg") % {"kg": f"{pack.weight_grams / 1000:.1f}"})
    tray = _("tray %(n)s of %(all)s") % {"n": pack.tray, "all": trays} if trays > 1 else ""
    return pack.set.version.design.name, pack.set.code, tray, number, until, " · ".join(parts)


def _places(lines: Sequence[PickLine], rows: Mapping[int, PickRow]) -> tuple[PickPlace, ...]:
    stops: list[tuple[Place, list[PickLine]]] = []
    for line in lines:
        if not stops or stops[-1][0].pk != line.place_id:
            stops.append((line.place, []))
        stops[-1][1].append(line)
    return tuple(
        PickPlace(number, place_words(place), _hint(own), tuple(rows[line.number] for line in own))
        for number, (place, own) in enumerate(stops, start=1)
    )


def place_words(place: Place) -> str:
    """The place with its room, unless its own name begins with it."""
    if place.room is None or place.name.startswith(place.room.name):
        return place.name
    return f"{place.room.name} · {place.name}"


def _hint(lines: Sequence[PickLine]) -> str:
    if all(line.pack_id for line in lines):
        return _("instrument sets")
    if all(line.pile_id for line in lines):
        return _("consumables, by quantity")
    tenures = {line.unit.tenure for line in lines if line.unit}
    if len(tenures) == 1 and all(line.unit_id for line in lines):
        return str(Tenure(tenures.pop()).label).lower()
    return ""


def _key(lines: Iterable[PickLine]) -> tuple[GroupCount, ...]:
    counts = {group: 0 for group in (Group.SET, *(g for g in Group if g != Group.SET))}
    for line in lines:
        counts[Group(line.group)] += 1
    return tuple(GroupCount(group, group_word(group), _mark(group), n) for group, n in counts.items() if n)


def _verdict(said: Said) -> SheetVerdict:
    return SheetVerdict(
        state=said.worse,
        word=verdict_word(said.worse),
        in_room=_level(_("in the room"), said.in_room),
        on_site=_level(_("on site"), said.on_site),
        reasons=said.reasons,
    )


def _level(label: str, level: Level | None) -> LevelWords:
    if level is None:
        return LevelWords(label, Word.UNKNOWN, verdict_word(Word.UNKNOWN), "")
    return LevelWords(label, level.word, verdict_word(level.word), figures(level))


def _run(run: SaidRun) -> SizeRun:
    cells = tuple(
        RunCell(cell.size, cell.chance, cell.group, cell.minimum, cell.missing, likely(cell.chance))
        for cell in run.cells
    )
    return SizeRun(run.label, side_word(run.side), run.unit, cells, _run_note(cells))


def _run_note(cells: Sequence[RunCell]) -> str:
    listed = sum(bool(cell.group) for cell in cells)
    words = [ngettext("%(n)s size", "%(n)s sizes", listed) % {"n": listed}]
    added = ", ".join(cell.size for cell in cells if cell.minimum)
    missing = ", ".join(cell.size for cell in cells if cell.missing)
    if added:
        words.append(_("minimum adds %(sizes)s") % {"sizes": added})
    if missing:
        words.append(_("not on site %(sizes)s") % {"sizes": missing})
    return "; ".join(words)


def _not_on_site(absent: Absent) -> NotOnSite:
    return NotOnSite(
        name=absent.name,
        size=absent.size,
        side=side_word(absent.side),
        take=absent.take,
        group=absent.group,
        group_word=group_word(absent.group),
        mark=_mark(absent.group),
        site_minimum=absent.site_minimum,
        chance=absent.chance,
        why=absent.why,
    )


def _changed_since(pick_list: PickList, said: Said, lines: Sequence[PickLine]) -> str:
    """What has happened to the case, or to what was kept for it, since the list was made."""
    case = pick_list.case
    if pick_list.replaced_at is not None:
        return ""
    if case.status == Case.Status.CANCELLED:
        return _("The case has been cancelled. Put everything back.")
    sentences = []
    if case_position(case.pk) > said.position:
        sentences.append(_("The case has been changed since this list was made."))
    loose = _no_longer_kept(case, lines)
    if loose:
        numbers = ", ".join(str(number) for number in loose)
        sentences.append(
            ngettext(
                "Line %(numbers)s is no longer kept for this case.",
                "Lines %(numbers)s are no longer kept for this case.",
                len(loose),
            )
            % {"numbers": numbers}
        )
    return " ".join(sentences)


def _no_longer_kept(case: Case, lines: Sequence[PickLine]) -> list[int]:
    held = open_holds([line.unit_id for line in lines if line.unit_id])
    set_ids = [line.pack.set_id for line in lines if line.pack]
    kept_sets = {
        row.set_id
        for row in SetHold.objects.filter(set_id__in=set_ids, ended_at__isnull=True)
        if kept_for(row, case)
    }
    loose = []
    for line in lines:
        if line.unit_id and not (line.unit_id in held and kept_for(held[line.unit_id], case)):
            loose.append(line.number)
        if line.pack and line.pack.set_id not in kept_sets:
            loose.append(line.number)
    return loose


def _replaced(pick_list: PickList, site: Site) -> str:
    if pick_list.replaced_at is None:
        return ""
    return _("A newer list took the place of this one on %(moment)s. Do not pick by it.") % {
        "moment": sitetime(at_site(pick_list.replaced_at, site))
    }
