"""What comes on, breaks, is left in, or is taken out whole: every change of how many there should be."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.db.models import Max
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts.acting import Act, Done, count_once, line_of, open_stage, row_named
from cases.counts.counting import MOST, enter_within, entry_line
from cases.counts.figures import figure_of, should_be
from cases.counts.kinds_count import Key
from cases.counts.models_counts import (
    Added,
    AddedKind,
    CountLine,
    LeftIn,
    TheatreCount,
    WrongPacket,
)
from cases.counts.models_templates import CountClass, StageKind
from cases.counts.said import CORRECTIONS
from trays.catalogue.models import Component
from trays.ledger.append import Line
from trays.staff.models import Person
from trays.web.errors import NotThere, Refusal


def added_record(
    *,
    by: Person,
    case: Case,
    line: Key,
    quantity: int,
    at: datetime,
    as_found: bool = False,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> Added:
    """So many more of a line come onto the field, counted as they come; they belong to every later stage.

    While the first count is under way, what comes on is counted with it: an entry is written too. Soft goods
    come in the number they are packed in; `as_found` takes down another number and marks it. Raises Refusal
    "not-a-count", "wrong-number"; NotThere "no-such-line".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[Added]:
        own = line_of(count, line)
        made, lines = add_within(count, own, quantity, act, as_found=as_found)
        return Done(made, lines, {"added": made.pk, "line": own.pk})

    return count_once(act, case, "count.add", work, lambda answer: Added.objects.get(pk=answer["added"]))


def add_within(
    count: TheatreCount,
    line: CountLine,
    quantity: int,
    act: Act,
    *,
    as_found: bool = False,
    kind: str = AddedKind.ADDED,
    paper_at: datetime | None = None,
) -> tuple[Added, list[Line]]:
    """One addition to a line of a locked count, with its entry where the first count is under way."""
    _check_quantity(quantity)
    odd = quantity % line.multiple != 0
    if odd and not as_found:
        raise Refusal(
            "wrong-number",
            _("%(what)s comes in packets of %(multiple)s; %(n)s is another number.")
            % {"what": line.name, "multiple": line.multiple, "n": quantity},
            _("Take the packet out whole and write it down, or say that this is what was found."),
        )
    stage = open_stage(count)
    before = figure_of(stage, line) if stage is not None else None
    made = Added.objects.create(
        line=line, stage=stage, quantity=quantity, kind=kind, odd=odd, by=act.by, at=act.at,
        device_at=act.device_at, paper_at=paper_at, device=act.device, client_key=act.client_key,
    )  # fmt: skip
    lines = [Line("count_added", made.pk, "", kind, quantity)]
    if stage is not None and before is not None and stage.kind == StageKind.FIRST:
        if stage.classes.filter(klass=line.klass).exists():
            counted = (before.counted or 0) + quantity
            lines.append(entry_line(enter_within(stage, line, counted, act, seen=before.newest)))
    return made, lines


def added_correct(
    *,
    by: Person,
    case: Case,
    added: Key,
    reason: str,
    at: datetime,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> Added:
    """Take an addition back: a further row with the same number below nothing, and why. Both stay on file.

    Where the first count has counted it as it came, that is taken back with it; else the line is to be
    counted again. Raises Refusal "reason-missing", "taken-back-already", "left-in-since";
    NotThere "no-such-addition".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[Added]:
        own = row_named(Added.objects.filter(line__count=count).select_related("line"), added, "added")
        if own is None or own.quantity < 1:
            raise NotThere(
                "no-such-addition", _("This case has no such addition."), _("Load the page again.")
            )
        _check_takes_back(own, reason)
        stage = open_stage(count)
        figure = figure_of(stage, own.line) if stage is not None and stage.pk == own.stage_id else None
        made = Added.objects.create(
            line=own.line, stage=stage, quantity=-own.quantity, kind=AddedKind.CORRECTION,
            reason=reason, by=act.by, at=act.at, device_at=act.device_at, device=act.device,
            client_key=act.client_key, corrects=own,
        )  # fmt: skip
        lines = [Line("count_added", made.pk, "", "correction", made.quantity)]
        if stage is not None and figure is not None and stage.kind == StageKind.FIRST and figure.counted:
            left = max(0, figure.counted - own.quantity)
            lines.append(entry_line(enter_within(stage, own.line, left, act, seen=figure.newest)))
        return Done(made, lines, {"added": made.pk, "line": own.line_id}, reason)

    return count_once(act, case, "count.correct", work, lambda answer: Added.objects.get(pk=answer["added"]))


def _check_takes_back(own: Added, reason: str) -> None:
    if reason not in CORRECTIONS:
        raise Refusal(
            "reason-missing", _("Why it is taken back is not said."), _("Choose one of the reasons.")
        )
    if Added.objects.filter(corrects=own).exists():
        raise Refusal(
            "taken-back-already", _("This addition has been taken back already."), _("Load the page again.")
        )
    if should_be([own.line_id])[own.line_id] < own.quantity:
        raise Refusal(
            "left-in-since",
            _("Some of these were written down as left in."),
            _("Count the line, and open a discrepancy if it differs."),
        )


def line_add(
    *,
    by: Person,
    case: Case,
    klass: str,
    name: str,
    quantity: int,
    at: datetime,
    component: Component | None = None,
    multiple: int = 1,
    as_found: bool = False,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> CountLine:
    """A thing that was not planned comes on: a line of its own, with so many of it.

    A component that has its line already is added to that. Raises Refusal "nameless", "no-such-class",
    "not-a-count", "wrong-number".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[CountLine]:
        own = count.lines.filter(component=component, pack_in__isnull=True).first() if component else None
        new = own is None
        if own is None:
            own = _new_line(count, act, klass=klass, name=name, component=component, multiple=multiple)
        _added, lines = add_within(count, own, quantity, act, as_found=as_found)
        first = [Line("count_line", own.pk, "", "to_count")] if new else []
        return Done(own, [*first, *lines], {"line": own.pk})

    return count_once(
        act, case, "count.line_add", work, lambda answer: CountLine.objects.get(pk=answer["line"])
    )


def fragment_add(
    *,
    by: Person,
    case: Case,
    broken: Key,
    pieces: int,
    at: datetime,
    name: str = "",
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> CountLine:
    """Something broke: its fragments become a line, and each of them is accounted for.

    `pieces` counts all that it broke into beside the main part, found or not. Raises Refusal "not-a-count".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[CountLine]:
        own = line_of(count, broken)
        _check_quantity(pieces)
        said = name.strip() or _("Fragments of %(what)s") % {"what": own.name}
        made = _new_line(count, act, klass=CountClass.FRAGMENT, name=said, broken=own)
        _added, lines = add_within(count, made, pieces, act, kind=AddedKind.FRAGMENT)
        first = [Line("count_line", own.pk, "whole", "broken"), Line("count_line", made.pk, "", "to_count")]
        return Done(made, [*first, *lines], {"line": made.pk})

    return count_once(
        act, case, "count.fragment", work, lambda answer: CountLine.objects.get(pk=answer["line"])
    )


def left_in(
    *,
    by: Person,
    case: Case,
    line: Key,
    quantity: int,
    plan: str,
    decided_by: str,
    at: datetime,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> LeftIn:
    """Something stays in the patient on purpose: so many, who decided it, and the plan for taking it out.

    Raises Refusal "plan-missing", "nobody-named", "more-than-came", "not-a-count".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[LeftIn]:
        own = line_of(count, line)
        _check_quantity(quantity)
        if not plan.strip():
            raise Refusal("plan-missing", _("The plan for removal is not said."), _("Write it down."))
        if not decided_by.strip():
            raise Refusal("nobody-named", _("Who decided it is not said."), _("Name the person."))
        if quantity > should_be([own.pk])[own.pk]:
            raise Refusal(
                "more-than-came",
                _("No more of %(what)s came on than that.") % {"what": own.name},
                _("Write down what came on first."),
            )
        made = LeftIn.objects.create(
            line=own, quantity=quantity, plan=plan.strip()[:200], decided_by=decided_by.strip()[:120],
            at=act.at, by=act.by, device_at=act.device_at,
        )  # fmt: skip
        return Done(made, [Line("left_in", made.pk, "", "left_in", quantity)], {"left_in": made.pk})

    return count_once(
        act, case, "count.left_in", work, lambda answer: LeftIn.objects.get(pk=answer["left_in"])
    )


def packet_wrong(
    *,
    by: Person,
    case: Case,
    line: Key,
    found: int,
    at: datetime,
    lot: str = "",
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> WrongPacket:
    """A packet held another number than it should: taken out whole, not used, nothing is added.

    Raises Refusal "not-wrong" (it is the number it should hold), "not-a-count".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[WrongPacket]:
        own = line_of(count, line)
        if not 0 <= found <= MOST:
            raise _not_a_count(found)
        if found == own.multiple:
            raise Refusal(
                "not-wrong",
                _("%(n)s is the number such a packet holds.") % {"n": found},
                _("Add it as it is."),
            )
        made = WrongPacket.objects.create(
            line=own, found=found, packed_in=own.multiple, lot=lot.strip()[:20], at=act.at, by=act.by,
            device_at=act.device_at,
        )  # fmt: skip
        return Done(made, [Line("wrong_packet", made.pk, "", "taken_out")], {"wrong_packet": made.pk})

    return count_once(
        act, case, "count.packet_wrong", work,
        lambda answer: WrongPacket.objects.get(pk=answer["wrong_packet"]),
    )  # fmt: skip


def _new_line(
    count: TheatreCount,
    act: Act,
    *,
    klass: str,
    name: str,
    component: Component | None = None,
    multiple: int = 1,
    broken: CountLine | None = None,
) -> CountLine:
    if klass not in CountClass.values:
        raise Refusal("no-such-class", _("There is no such class."), _("Choose one of the classes."))
    if not name.strip():
        raise Refusal("nameless", _("What came on is not said."), _("Name it."))
    last = count.lines.aggregate(n=Max("number"))["n"] or 0
    return CountLine.objects.create(
        count=count, klass=klass, number=last + 1, name=name.strip()[:160], component=component,
        multiple=component.count_multiple if component is not None else max(1, multiple), broken=broken,
        made_at=act.at, made_by=act.by,
    )  # fmt: skip


def _check_quantity(quantity: int) -> None:
    if not 1 <= quantity <= MOST:
        raise _not_a_count(quantity)


def _not_a_count(quantity: int) -> Refusal:
    return Refusal(
        "not-a-count",
        _("%(n)s is not a number that can be added.") % {"n": quantity},
        _("Enter a whole number from 1 on."),
    )
