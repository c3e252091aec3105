"""The fortnight as lines: days, theatre lists, cases with their verdicts."""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.bookings.models import Case, TheatreList
from cases.bookings.queries import lists_between
from cases.readiness.assess import horizon
from cases.readiness.figures import short_figures
from cases.readiness.kinds import CaseVerdict, Horizon, Word
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.staff.models import Person
from trays.web.wording import verdict_word

DAYS = 14
_WORST_FIRST = (Word.SHORT, Word.UNKNOWN, Word.THIN)


@dataclass(frozen=True)
class Line:
    """One case on its list; `verdict` is None for a case that is no longer to come."""

    case: Case
    sides: tuple[str, ...]
    site: Site
    verdict: CaseVerdict | None
    mine: bool

    @property
    def needs(self) -> bool:
        return self.verdict is not None and self.verdict.needs_act

    @property
    def reason(self) -> str:
        """The first reason where something is amiss, else the sizes."""
        verdict = self.verdict
        if verdict is None:
            return str(self.case.get_status_display())
        if verdict.on_site.word is not Word.COVERED and verdict.reasons:
            return verdict.reasons[0]
        if verdict.in_room.word is not Word.COVERED and len(verdict.room_reasons) > (not verdict.picked):
            return verdict.room_reasons[0 if verdict.picked else 1]
        return verdict.sizes_line

    @property
    def act(self) -> str:
        """The next act in words; "" where none is needed."""
        verdict = self.verdict
        if verdict is None or not verdict.needs_act:
            return ""
        if verdict.fault:
            return _("Put the data right")
        if Word.UNKNOWN in (verdict.on_site.word, verdict.in_room.word):
            return _("File the fit rule")
        if verdict.one_more is not None:
            return _("Get one more %(name)s") % {"name": verdict.one_more.name}
        if verdict.on_site.word is Word.COVERED:
            return _("Pick what is missing") if verdict.picked else _("See what is not free")
        return _("See what is missing")

    @property
    def then(self) -> str:
        """What the act would make of it."""
        verdict = self.verdict
        if not self.act or verdict is None or verdict.one_more is None or verdict.fault:
            return ""
        level = verdict.one_more.level
        if level.word is Word.UNKNOWN or level.at_most:
            return ""
        return _("then %(word)s %(chance)s") % {
            "word": verdict_word(level.word),
            "chance": short_figures(level),
        }


@dataclass(frozen=True)
class ListBlock:
    """One theatre list with its lines."""

    theatre_list: TheatreList
    site: Site
    lines: tuple[Line, ...]
    with_site: bool

    @property
    def site_name(self) -> str:
        """The site to say behind the theatre; "" where the page has one site or the theatre’s name has it."""
        told = not self.with_site or self.site.name in self.theatre_list.theatre.name
        return "" if told else self.site.name


@dataclass(frozen=True)
class Mark:
    """How many cases of a day stand at a verdict that needs an act."""

    word: Word
    words: str


@dataclass(frozen=True)
class Day:
    """One day: its lists and what the strip says of it. `n` numbers the days of the page."""

    n: int
    day: date
    today: bool
    count: int
    blocks: tuple[ListBlock, ...]
    marks: tuple[Mark, ...]

    @property
    def sites(self) -> tuple[Site, ...]:
        """The sites whose lists these are, each once."""
        return tuple({block.site.pk: block.site for block in self.blocks}.values())


@dataclass(frozen=True)
class Fortnight:
    """The page's lines and counts. `strip` counts all cases; `days` hold those that the filter lets
    through."""

    first: date
    strip: tuple[Day, ...]
    days: tuple[Day, ...]
    lines: tuple[Line, ...]
    counts: Counter[Word]
    first_need: Line | None

    @property
    def judged(self) -> int:
        return sum(self.counts.values())

    @property
    def needing(self) -> int:
        return sum(line.needs for line in self.lines)


def fortnight(*, sites: Sequence[Site], by: Person, at: datetime, show: str = "") -> Fortnight:
    """The lists of these sites from today on (per site: one horizon and 3 queries).

    `show` is "" for all, "needs" for the lines that need an act, "mine" for the person's own.
    """
    blocks: list[ListBlock] = []
    first = min((site_day(site, at) for site in sites), default=at.date())
    for site in sites:
        day = site_day(site, at)
        blocks += _blocks(site, day, horizon(site=site, at=at), by, with_site=len(sites) > 1)
    blocks.sort(key=lambda block: (block.theatre_list.day, block.site.name))
    lines = tuple(line for block in blocks for line in block.lines)
    counts = Counter(line.verdict.worse for line in lines if line.verdict is not None)
    needing = [line for line in lines if line.needs]
    return Fortnight(
        first=first,
        strip=_days(blocks, first, lambda _line: True),
        days=_days(blocks, first, _FILTERS.get(show, _FILTERS[""])),
        lines=lines,
        counts=counts,
        first_need=min(needing, key=lambda line: (line.case.list.day, line.case.starts_at), default=None),
    )


_FILTERS: dict[str, Callable[[Line], bool]] = {
    "": lambda _line: True,
    "needs": lambda line: line.needs,
    "mine": lambda line: line.mine,
}


def _blocks(site: Site, day: date, known: Horizon, by: Person, *, with_site: bool) -> list[ListBlock]:
    found = []
    for row in lists_between(site.pk, day, day + timedelta(days=DAYS - 1)):
        lines = []
        for case in row.cases:
            sides = tuple(one.side for one in case.constructs.all())
            case.list = row.theatre_list
            mine = by.pk in (case.surgeon_id, row.theatre_list.surgeon_id, case.booked_by_id)
            lines.append(Line(case, sides, site, known.verdicts.get(case.pk), mine))
        if lines:
            found.append(ListBlock(row.theatre_list, site, tuple(lines), with_site))
    return found


def _days(blocks: Iterable[ListBlock], first: date, keep: Callable[[Line], bool]) -> tuple[Day, ...]:
    by_day: dict[date, list[ListBlock]] = {}
    for block in blocks:
        lines = tuple(line for line in block.lines if keep(line))
        if lines:
            kept = ListBlock(block.theatre_list, block.site, lines, block.with_site)
            by_day.setdefault(block.theatre_list.day, []).append(kept)
    found = []
    for day, rows in sorted(by_day.items()):
        verdicts = [line.verdict for block in rows for line in block.lines if line.verdict is not None]
        counts = Counter(verdict.worse for verdict in verdicts)
        marks = tuple(Mark(word, _mark_words(word, counts[word])) for word in _WORST_FIRST if counts[word])
        count = sum(len(block.lines) for block in rows)
        found.append(Day((day - first).days, day, day == first, count, tuple(rows), marks))
    return tuple(found)


def _mark_words(word: Word, count: int) -> str:
    return {
        Word.SHORT: ngettext("%(n)d short", "%(n)d short", count),
        Word.THIN: ngettext("%(n)d thin", "%(n)d thin", count),
        Word.UNKNOWN: ngettext("%(n)d not known", "%(n)d not known", count),
    }[word] % {"n": count}
