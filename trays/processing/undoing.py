"""Taking back the last word on the bench: the line is to be checked again, and what the word set going is
put back.
"""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import F
from django.utils.translation import gettext as _

from trays.instruments.models import ContentsLine, Pack, PackLine
from trays.instruments.models_pieces import Piece, PieceState, Spare
from trays.ledger.append import Line, record
from trays.ledger.models import Event, EventLine
from trays.processing.bench import once, open_list
from trays.processing.models import Assembly, AssemblyLine, Shortfall, ShortfallEnd
from trays.processing.shortfalls import lacking
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal

CHECK, UNDO = "assembly.check", "assembly.undo"


@dataclass(frozen=True, slots=True)
class Word:
    """One act of checking: the event, and the lines that it spoke of."""

    event_id: int
    line_ids: tuple[int, ...]


def last_word(assembly: Assembly) -> Word | None:
    """The newest check of a list, since it was last opened, that nobody has taken back (two queries)."""
    events = Event.objects.filter(lines__subject="assembly", lines__subject_id=assembly.pk)
    taken_back = set()
    for pk, verb, answer in events.order_by("-sequence").values_list("pk", "verb", "answer"):
        if verb == UNDO:
            taken_back.add((answer or {}).get("undone"))
        elif verb == CHECK:
            if pk not in taken_back:
                spoken = EventLine.objects.filter(event=pk, subject="contents_line").order_by("number")
                return Word(pk, tuple(spoken.values_list("subject_id", flat=True)))
        elif verb in ("assembly.close", "assembly.reopen"):
            return None
    return None


def check_undo(*, by: Person, assembly: Assembly, at: datetime, client_key: UUID | None = None) -> Assembly:
    """Take the last check back: its lines are to be looked at again; spares, single instruments and
    shortfalls are as before it.

    A shortfall that the check noticed is ended as found: what was once on the list stays on record.

    Raises Refusal "nothing-to-undo", "list-closed"; NotAllowed.
    """
    require(by=by, act="process_packs", site_id=assembly.pack.set.site_id)

    def work() -> Assembly:
        row, pack = open_list(assembly)
        word = last_word(row)
        if word is None:
            raise Refusal(
                "nothing-to-undo",
                _("Nothing on this list can be taken back."),
                _("Load the page again and look at the line itself."),
            )
        lines = [Line("assembly", row.pk, "", "undone")]
        for done in EventLine.objects.filter(event=word.event_id).order_by("-number"):
            lines += _put_back(done, row, pack, by, at)
        for line in ContentsLine.objects.filter(pk__in=word.line_ids):
            there = max(line.quantity - lacking(pack, line), 0)
            PackLine.objects.update_or_create(pack=pack, line=line, defaults={"present": there})
        record(
            chain=pack.set.site.code, verb=UNDO, by=by, at=at, place_id=pack.place_id, client_key=client_key,
            answer={"assembly": row.pk, "undone": word.event_id}, lines=lines,
        )  # fmt: skip
        return row

    return once(UNDO, by, client_key, work)


def _put_back(done: EventLine, row: Assembly, pack: Pack, by: Person, at: datetime) -> list[Line]:
    if done.subject == "contents_line":
        AssemblyLine.objects.filter(assembly=row, line_id=done.subject_id).delete()
        return [Line("contents_line", done.subject_id, done.after)]
    if done.subject == "spare":
        Spare.objects.filter(pk=done.subject_id).update(quantity=F("quantity") - done.quantity)
        return [Line("spare", done.subject_id, "", "", -done.quantity)]
    if done.subject == "piece":
        stays = done.before == PieceState.IN_SET
        Piece.objects.filter(pk=done.subject_id).update(state=done.before, pack=pack if stays else None)
        return [Line("piece", done.subject_id, done.after, done.before)]
    if done.subject == "shortfall":
        return _shortfall_back(done, by, at)
    return []


def _shortfall_back(done: EventLine, by: Person, at: datetime) -> list[Line]:
    """A shortfall that grew shrinks again, or is found; one that was ended is open again."""
    row = Shortfall.objects.select_for_update().get(pk=done.subject_id)
    if done.after == ShortfallEnd.REPLACED:
        if row.ended_how == ShortfallEnd.REPLACED:
            row.ended_at, row.ended_by, row.ended_how = None, None, ""
        elif row.ended_at is None:
            row.quantity += done.quantity
    elif row.ended_at is None:
        if int(done.before):
            row.quantity = int(done.before)
        else:
            row.ended_at, row.ended_by, row.ended_how = at, by, ShortfallEnd.FOUND
    row.save(update_fields=["ended_at", "ended_by", "ended_how", "quantity"])
    return [Line("shortfall", row.pk, done.after, done.before, -done.quantity)]
