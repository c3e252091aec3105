"""Tables of sets: the list, a set's packs, its contents."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.instruments.queries import ContentsRow
from trays.instruments.ready import PackFacts, SetFacts, state_word
from trays.parties.models import Tenure
from trays.templatetags.look import icon
from trays.web.table import CodeColumn, Column, Lines, NoColumn, NumberColumn, SecondLineColumn, WhenColumn

FAR = date.max


@dataclass(frozen=True, slots=True)
class SetLine:
    """One set as the list shows it on one day."""

    code: str
    design: str
    serves: str
    packs: int
    ready: bool
    readiness: str
    why: str
    shortages: int
    sterile_until: date | None
    until_order: date
    place: str
    owner: str


def set_lines(facts: Iterable[SetFacts], day: date, serves: Mapping[int, tuple[str, ...]]) -> list[SetLine]:
    """The sets as lines; `serves` says in words what a design serves."""
    return [
        SetLine(
            code=one.code,
            design=one.design,
            serves="; ".join(serves.get(one.design_id, ())),
            packs=len(one.packs),
            ready=one.ready_on(day),
            readiness=_("ready") if one.ready_on(day) else _("not ready"),
            why="; ".join(one.why_not(day)),
            shortages=one.shortages,
            sterile_until=one.sterile_until,
            until_order=one.sterile_until or FAR,
            place=", ".join(dict.fromkeys(pack.place for pack in one.packs)),
            owner=str(Tenure(one.tenure).label).lower(),
        )
        for one in facts
    ]


def readiness_mark(ready: bool, word: str) -> SafeString:
    """The word with its mark: a bare tick, or the dashed square of what is missing."""
    return format_html('<span class="v">{}<b>{}</b></span>', icon("tick" if ready else "missing"), word)


class SetTable(Lines):
    """Sets of a site."""

    name = gettext_lazy("Sets")
    row_head = "code"
    looks = ("flat", "sets")
    empty = (gettext_lazy("No sets here."), gettext_lazy("Choose another filter, or import a list of sets."))

    code = CodeColumn(verbose_name=gettext_lazy("Set"))
    design = SecondLineColumn(under="serves", verbose_name=gettext_lazy("Design, sizes it serves"))
    readiness = Column(verbose_name=gettext_lazy("Readiness"), order_by=("ready", "code"))
    why = Column(verbose_name=gettext_lazy("Why not"), visible=False)
    shortages = NumberColumn(verbose_name=gettext_lazy("Pieces short"))
    packs = NumberColumn(verbose_name=gettext_lazy("Packs"))
    sterile_until = WhenColumn(
        form="date", verbose_name=gettext_lazy("Sterile until"), order_by=("until_order", "code"), default="–"
    )
    place = Column(verbose_name=gettext_lazy("Place"))
    owner = Column(verbose_name=gettext_lazy("Owner"))

    def render_code(self, value: str) -> str:
        address = reverse("set", args=[value])
        return format_html('<a class="do" href="{}"><b class="code">{}</b></a>', address, value)

    def render_readiness(self, record: SetLine, value: str) -> str:
        mark = readiness_mark(record.ready, value)
        return format_html('{}<span class="soft under">{}</span>', mark, record.why) if record.why else mark

    def value_readiness(self, record: SetLine) -> str:
        return record.readiness

    def render_shortages(self, value: int) -> str:
        return str(value) if value else "–"

    def value_shortages(self, record: SetLine) -> int:
        return record.shortages


@dataclass(frozen=True, slots=True)
class PackLineShown:
    """One pack as the set's page shows it."""

    pk: int
    tray: int
    number: str
    state: str
    ready: bool
    why: str
    sterile_until: date | None
    place: str
    bin: str
    short: int


def pack_lines(packs: Iterable[PackFacts], day: date) -> list[PackLineShown]:
    """The packs as lines, judged on the day."""
    return [
        PackLineShown(
            pk=pack.pk,
            tray=pack.tray,
            number=pack.number,
            state=state_word(pack.state),
            ready=pack.ready_on(day),
            why=pack.why_not(day),
            sterile_until=pack.sterile_until,
            place=pack.place,
            bin=pack.bin,
            short=sum(lack.missing for lack in pack.lacks),
        )
        for pack in packs
    ]


class PackTable(Lines):
    """The packs of one set."""

    name = gettext_lazy("Packs")
    row_head = "number"
    looks = ("mid",)
    files = False
    empty = (gettext_lazy("No pack of this set is on file."), gettext_lazy("Import the packs of this set."))

    tray = NoColumn(verbose_name=gettext_lazy("Tray"), orderable=False)
    number = CodeColumn(verbose_name=gettext_lazy("Pack"), orderable=False)
    ready = Column(verbose_name=gettext_lazy("Readiness"), orderable=False)
    sterile_until = WhenColumn(
        form="date", verbose_name=gettext_lazy("Sterile until"), orderable=False, default="–"
    )
    place = SecondLineColumn(under="bin", verbose_name=gettext_lazy("Place"), orderable=False)
    short = NumberColumn(verbose_name=gettext_lazy("Pieces short"), orderable=False)

    def render_number(self, record: PackLineShown, value: str) -> str:
        address = reverse("pack", args=[record.pk])
        return format_html('<a class="do" href="{}"><b class="code">{}</b></a>', address, value)

    def render_ready(self, record: PackLineShown) -> str:
        mark = readiness_mark(record.ready, _("ready") if record.ready else _("not ready"))
        return format_html('{}<span class="soft under">{}</span>', mark, record.why or record.state)

    def render_short(self, value: int) -> str:
        return str(value) if value else "–"


class ContentsTable(Lines):
    """The contents list against what is really in the packs."""

    name = gettext_lazy("Contents")
    row_head = "what"
    looks = ("flat", "still", "mid")
    empty = (gettext_lazy("The contents list has no lines."), gettext_lazy("Import the contents list."))

    tray = NumberColumn(verbose_name=gettext_lazy("Tray"), visible=False)
    section = Column(verbose_name=gettext_lazy("Section"), visible=False)
    number = NoColumn(verbose_name=gettext_lazy("Line"), orderable=False)
    what = Column(accessor="name", verbose_name=gettext_lazy("What"), orderable=False)
    code = CodeColumn(verbose_name=gettext_lazy("Code"), orderable=False)
    wanted = NumberColumn(verbose_name=gettext_lazy("Should be"), orderable=False)
    present = NumberColumn(verbose_name=gettext_lazy("There"), orderable=False)
    missing = NumberColumn(verbose_name=gettext_lazy("Short"), orderable=False)
    critical = Column(verbose_name=gettext_lazy("Critical"), orderable=False)

    def row_class(self, record: ContentsRow) -> str:
        return "needs" if record.missing and record.critical else ""

    def group(self, record: ContentsRow) -> str:
        tray = _("Tray %(number)s") % {"number": record.tray}
        return ", ".join(part for part in (tray, record.pack, record.section) if part)

    def render_missing(self, value: int) -> str:
        if not value:
            return "–"
        return format_html('<span class="v">{}<b>{}</b></span>', icon("missing"), value)

    def value_missing(self, record: ContentsRow) -> int:
        return record.missing

    def render_critical(self, value: bool) -> str:
        return format_html('<span class="v">{}{}</span>', icon("critical"), _("critical")) if value else ""

    def value_critical(self, value: bool) -> str:
        return str(_("critical")) if value else ""
