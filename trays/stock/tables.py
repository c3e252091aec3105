"""Tables of units and piles. Who a unit is held for is told by the caller: that is known a floor above."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.catalogue.models import Side
from trays.stock.models import Pile, Unit, UnitState
from trays.stock.queries import SHORT_DATED_DAYS
from trays.web.table import CodeColumn, Column, Lines, NumberColumn, SecondLineColumn, WhenColumn
from trays.web.wording import sitetime

FAR = date.max


@dataclass(frozen=True, slots=True)
class UnitLine:
    """One unit as a table shows it on one day."""

    pk: int
    code: str
    size: str
    rank: tuple[int, int]
    side: str
    lot: str
    serial: str
    expires: date | None
    until_order: date
    dated: str
    owner: str
    owner_name: str
    place: str
    bin: str
    state: str
    free: bool
    held_for: str


def unit_lines(units: Iterable[Unit], *, day: date, held: Mapping[int, str]) -> list[UnitLine]:
    """The units (with component, owner and place fetched) as lines; `held` says for what, by unit."""
    return [_unit_line(unit, day, held.get(unit.pk, "")) for unit in units]


def _unit_line(unit: Unit, day: date, held_for: str) -> UnitLine:
    component = unit.component
    dated = date_word(unit.expires, day)
    on_shelf = unit.state in Unit.ON_HAND
    free = on_shelf and not held_for and (unit.expires is None or unit.expires >= day)
    if not on_shelf:
        state = str(unit.get_state_display()).lower()
    elif held_for:
        state = _("held, %(case)s") % {"case": held_for}
    else:
        state = _("free") if free else _("out of date")
    if unit.state == UnitState.PICKED:
        state = _("%(state)s, picked") % {"state": state}
    return UnitLine(
        pk=unit.pk,
        code=component.code,
        size=" × ".join(part for part in (component.size, component.second) if part),
        rank=(component.size_rank, component.second_rank),
        side="" if component.side == Side.NONE else str(component.get_side_display()).upper(),
        lot=unit.lot,
        serial=unit.serial,
        expires=unit.expires,
        until_order=unit.expires or FAR,
        dated=dated,
        owner=str(unit.get_tenure_display()).lower(),
        owner_name=unit.owner.name,
        place=unit.place.name,
        bin=unit.bin,
        state=state,
        free=free,
        held_for=held_for,
    )


def date_word(expires: date | None, day: date) -> str:
    """Return "short-dated" within SHORT_DATED_DAYS of the day, "out of date" after the date, else ""."""
    if expires is None:
        return ""
    if expires < day:
        return _("out of date")
    return _("short-dated") if expires < day + timedelta(days=SHORT_DATED_DAYS) else ""


class UnitTable(Lines):
    """Units of one family, one line each."""

    name = gettext_lazy("Units")
    row_head = "place"
    looks = ("flat", "pickt", "mid")
    empty = (gettext_lazy("No such units on site."), gettext_lazy("Choose another filter, or receive some."))

    code = CodeColumn(verbose_name=gettext_lazy("Code"), visible=False)
    size = Column(
        verbose_name=gettext_lazy("Size"),
        order_by=("rank", "side", "until_order"),
        attrs={"td": {"class": "size"}},
    )
    side = Column(verbose_name=gettext_lazy("Side"), order_by=("side", "rank", "until_order"))
    lot = CodeColumn(verbose_name=gettext_lazy("Lot"))
    serial = CodeColumn(verbose_name=gettext_lazy("Serial"))
    use_by = WhenColumn(
        accessor="expires", verbose_name=gettext_lazy("Use by"), order_by=("until_order", "rank"), default="–"
    )
    dated = Column(verbose_name=gettext_lazy("Date"), visible=False)
    owner = Column(verbose_name=gettext_lazy("Owner"))
    owner_name = Column(verbose_name=gettext_lazy("Owner’s name"), visible=False)
    place = Column(verbose_name=gettext_lazy("Place"), order_by=("place", "bin"))
    state = Column(verbose_name=gettext_lazy("State"))

    def render_place(self, record: UnitLine) -> str:
        return ", ".join(part for part in (record.place, record.bin) if part)

    def render_use_by(self, record: UnitLine) -> str:
        words = sitetime(record.expires, "date" if record.dated else "month")
        return format_html('<span class="nowrap">{}</span> {}', words, _bold(record.dated))


def _bold(word: str) -> str:
    return format_html("<b>{}</b>", word) if word else ""


@dataclass(frozen=True, slots=True)
class PileLine:
    """One pile as a table shows it."""

    code: str
    name: str
    lot: str
    expires: date | None
    until_order: date
    dated: str
    owner: str
    place: str
    bin: str
    quantity: int


def pile_lines(piles: Iterable[Pile], *, day: date) -> list[PileLine]:
    """The piles (with component and place fetched) as lines."""
    return [
        PileLine(
            code=pile.component.code,
            name=pile.component.name,
            lot=pile.lot,
            expires=pile.expires,
            until_order=pile.expires or FAR,
            dated=date_word(pile.expires, day),
            owner=str(pile.get_tenure_display()).lower(),
            place=pile.place.name,
            bin=pile.bin,
            quantity=pile.quantity,
        )
        for pile in piles
    ]


class PileTable(Lines):
    """Piles of one family."""

    name = gettext_lazy("Piles")
    row_head = "what"
    looks = ("flat", "mid", "still")
    empty = (
        gettext_lazy("Nothing of this on site."),
        gettext_lazy("Receive some, or import a list of piles."),
    )

    what = Column(accessor="name", verbose_name=gettext_lazy("What"))
    code = CodeColumn(verbose_name=gettext_lazy("Code"))
    lot = CodeColumn(verbose_name=gettext_lazy("Lot"))
    use_by = WhenColumn(
        accessor="expires", verbose_name=gettext_lazy("Use by"), order_by=("until_order", "code"), default="–"
    )
    owner = Column(verbose_name=gettext_lazy("Owner"))
    place = SecondLineColumn(under="bin", verbose_name=gettext_lazy("Place"))
    quantity = NumberColumn(verbose_name=gettext_lazy("Pieces"))

    def render_use_by(self, record: PileLine) -> str:
        words = sitetime(record.expires, "date" if record.dated else "month")
        return format_html('<span class="nowrap">{}</span> {}', words, _bold(record.dated))
