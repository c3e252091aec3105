"""What is said of a thing that does not belong on a pick list: what it is, why not, and what to do."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.picks.gather import name_words
from cases.picks.models import PickLine
from cases.reservations.hold import held_for
from cases.reservations.models import SetHold
from trays.catalogue.models import Component
from trays.catalogue.words import side_word, size_words
from trays.instruments.models import Pack
from trays.web.errors import Refusal


@dataclass(frozen=True, slots=True)
class Goods:
    """What a label says of a sealed unit or a consumable: its component, with lot and serial as printed."""

    component: Component
    lot: str = ""
    serial: str = ""


def line_words(line: PickLine) -> str:
    """A line as people say it: "Femoral component A 5 RIGHT", "KG-01, pack P00042"."""
    if line.pack is not None:
        return _("%(set)s, pack %(pack)s") % {"set": line.pack.set.code, "pack": line.pack.number}
    return _component_words(line.component) if line.component is not None else ""


def wrong_pack(pack: Pack, case: Case, lines: Sequence[PickLine]) -> Refusal:
    """A pack that is not on the list: whom it is held for, and which sets are wanted."""
    held = SetHold.objects.filter(set=pack.set_id, ended_at__isnull=True).exclude(case=case)
    other = held.select_related("case", "list__theatre").order_by("starts_at").first()
    design = pack.set.version.design
    wanted = sorted(
        {
            line.pack.set.code
            for line in lines
            if line.pack is not None and line.pack.set.version.design_id == design.pk
        }
    )
    words = {"pack": pack.number, "set": pack.set.code, "what": design.name, "case": case.reference}
    said = (
        _("Not this one: pack %(pack)s of set %(set)s, %(what)s, is not on the list of case %(case)s.")
        % words
    )
    if other is not None:
        said = _("%(said)s It is held for %(whom)s.") % {"said": said, "whom": held_for(other)}
    step = _("Put it back.")
    if wanted:
        step = _("Put it back; this list wants %(sets)s.") % {"sets": ", ".join(wanted)}
    return Refusal("not-on-this-list", said, step, pack_id=pack.pk)


def wrong_goods(goods: Goods, case: Case, lines: Sequence[PickLine]) -> Refusal:
    """A unit or consumable that is not on the list: of the other side, or of another size."""
    one = goods.component
    sides = {side_word(construct.side) for construct in case.constructs.all()} - {""}
    words = {"what": _component_words(one), "case": case.reference}
    said = _("Not this one: %(what)s is not on the list of case %(case)s.") % words
    if side_word(one.side) and sides and side_word(one.side) not in sides:
        said = _("%(said)s This case is %(side)s.") % {"said": said, "side": _(" and ").join(sorted(sides))}
    alike = [
        line for line in lines
        if line.component is not None and line.component.family_id == one.family_id and line.picked_at is None
    ]  # fmt: skip
    step = _("Put it back.")
    if alike:
        step = _("Put it back. Wanted is %(what)s, %(place)s %(bin)s.") % {
            "what": line_words(alike[0]), "place": alike[0].place.name, "bin": alike[0].bin,
        }  # fmt: skip
    return Refusal("not-on-this-list", said, step)


def another_lot(goods: Goods, own: Sequence[PickLine]) -> Refusal:
    """The right component, of a lot that is not on the list."""
    lots = sorted({thing.lot for line in own if (thing := line.unit or line.pile) is not None and thing.lot})
    return Refusal(
        "another-lot",
        _("Not this one: %(what)s is on the list, but of another lot.") % {"what": goods_words(goods)},
        _("Put it back and take lot %(lots)s.") % {"lots": ", ".join(lots)},
    )


def lot_not_read(goods: Goods) -> Refusal:
    """A sealed unit by its item number alone: which lot it is decides."""
    return Refusal(
        "lot-not-read",
        _("%(what)s: its lot was not read.") % {"what": goods_words(goods)},
        _("Scan the other code on the box, the one with the lot."),
    )


def picked_already(line: PickLine, what: str) -> Refusal:
    """A line that has its tick."""
    return Refusal(
        "picked-already",
        _("Line %(line)s, %(what)s, is picked already.") % {"line": line.number, "what": what},
        _("Put a second one back; or undo the last scan if it was another one."),
    )


def _component_words(one: Component) -> str:
    return " ".join(word for word in (name_words(one), size_words(one), side_word(one.side)) if word)


def goods_words(goods: Goods) -> str:
    """What the label says, in words."""
    what = _component_words(goods.component)
    if goods.serial:
        return _("%(what)s, serial %(serial)s") % {"what": what, "serial": goods.serial}
    return _("%(what)s, lot %(lot)s") % {"what": what, "lot": goods.lot} if goods.lot else what
