"""Instruments that a pack lacks: noticed in theatre or on the bench, kept on a list until each is ended."""

from datetime import datetime
from uuid import UUID

from django.db.models import F
from django.utils.translation import gettext as _

from trays.instruments.models import ContentsLine, Pack, PackLine
from trays.instruments.models_pieces import Spare
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.processing.models import Shortfall, ShortfallEnd
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal


def notice(
    *, pack: Pack, line: ContentsLine, quantity: int, cause: str, by: Person, at: datetime, note: str = ""
) -> list[Line]:
    """Take down within a larger act that a locked pack lacks pieces of a line; return the event's lines.

    What is open already for the line and cause grows to this number; it never shrinks by being noticed again.

    Raises Refusal "not-its-line" when the line is of another contents list or tray, "no-such-number".
    """
    if line.version_id != pack.set.version_id or line.tray != pack.tray:
        raise Refusal(
            "not-its-line",
            _("Line %(line)s is not on the contents list of pack %(pack)s.")
            % {"line": line.number, "pack": pack.number},
            _("Look at the pack's own list."),
        )
    if not 1 <= quantity <= line.quantity:
        raise Refusal(
            "no-such-number",
            _("Line %(line)s has %(most)s pieces; %(given)s cannot be lacking.")
            % {"line": line.number, "most": line.quantity, "given": quantity},
            _("Put the number right."),
        )
    open_one = Shortfall.objects.filter(pack=pack, line=line, cause=cause, ended_at__isnull=True).first()
    if open_one is not None and open_one.quantity >= quantity:
        return []
    before = open_one.quantity if open_one else 0
    if open_one is not None:
        Shortfall.objects.filter(pk=open_one.pk).update(quantity=quantity)
    else:
        open_one = Shortfall.objects.create(
            pack=pack, line=line, quantity=quantity, cause=cause, round=pack.round, noticed_at=at,
            noticed_by=by, noticed_where=pack.state, note=note[:200],
        )  # fmt: skip
    PackLine.objects.update_or_create(
        pack=pack, line=line, defaults={"present": max(line.quantity - lacking(pack, line), 0)}
    )
    return [Line("shortfall", open_one.pk, str(before), str(quantity))]


def lacking(pack: Pack, line: ContentsLine) -> int:
    """How many pieces of a line a pack lacks by the list of shortfalls."""
    rows = Shortfall.objects.filter(pack=pack, line=line, ended_at__isnull=True)
    return sum(rows.values_list("quantity", flat=True))


def shortfall_end(
    *, by: Person, shortfall: Shortfall, how: str, at: datetime, client_key: UUID | None = None
) -> Shortfall:
    """End a shortfall: found, or written off. (Replaced: on the bench, by `bench.line_check`.)

    A piece that is found is kept with the spares of sterile services, or put into the tray when it is next
    assembled: the tray's own content changes only on the bench.

    Raises Refusal "ended-already"; NotAllowed.
    """
    site = shortfall.pack.set.site
    require(by=by, act="process_packs", site_id=site.pk)
    if how not in (ShortfallEnd.FOUND, ShortfallEnd.WRITTEN_OFF):
        raise ValueError(f"a shortfall is not ended here as {how!r}")

    def work() -> Shortfall:
        row = Shortfall.objects.select_for_update().get(pk=shortfall.pk)
        if row.ended_at is not None:
            raise Refusal(
                "ended-already",
                _("This is ended already: %(how)s.") % {"how": row.get_ended_how_display()},
                _("Load the page again."),
            )
        row.ended_at, row.ended_by, row.ended_how = at, by, how
        row.save(update_fields=["ended_at", "ended_by", "ended_how"])
        record(
            chain=site.code, verb="shortfall.end", by=by, at=at, client_key=client_key,
            answer={"shortfall": row.pk}, lines=[Line("shortfall", row.pk, row.cause, how)],
        )  # fmt: skip
        return row

    return act_once(
        verb="shortfall.end",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Shortfall.objects.get(pk=answer["shortfall"]),
    )


def end_for_line(*, pack: Pack, line: ContentsLine, now_lacking: int, by: Person, at: datetime) -> list[Line]:
    """Within the bench's act: what of a line is in the tray again is no longer short. The oldest end
    first.
    """
    rows = list(
        Shortfall.objects.filter(pack=pack, line=line, ended_at__isnull=True).order_by("noticed_at", "pk")
    )
    back = sum(row.quantity for row in rows) - now_lacking
    lines = []
    for row in rows:
        if back <= 0:
            break
        part = min(row.quantity, back)
        back -= part
        if part == row.quantity:
            row.ended_at, row.ended_by, row.ended_how = at, by, ShortfallEnd.REPLACED
        else:
            row.quantity -= part
        row.save(update_fields=["ended_at", "ended_by", "ended_how", "quantity"])
        lines.append(Line("shortfall", row.pk, row.cause, ShortfallEnd.REPLACED, part))
    return lines


def take_spare(*, spare: Spare, quantity: int) -> Line:
    """Take spares from the pool within a larger act. Raises Refusal "no-spare" when there are too few."""
    taken = Spare.objects.filter(pk=spare.pk, quantity__gte=quantity).update(
        quantity=F("quantity") - quantity
    )
    if not taken:
        raise Refusal(
            "no-spare",
            _("There is no spare %(name)s left in %(place)s.")
            % {"name": spare.type.name, "place": spare.place.name},
            _("Count what is there, or pack it short."),
        )
    return Line("spare", spare.pk, "", "", -quantity)
