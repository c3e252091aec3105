"""The bench: a clean pack checked line by line against its contents list, closed, weighed and packed."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import F
from django.utils.translation import gettext as _

from trays.instruments.models import ContentsLine, InstrumentType, Pack, PackLine, PackState
from trays.instruments.models_pieces import Piece, PieceState, Spare
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.places.models import Place
from trays.processing.models import Assembly, AssemblyLine, LineState, Packaging, Shortfall, ShortfallCause
from trays.processing.moving import Step, lock_packs, move, no_way
from trays.processing.policies import policy_on
from trays.processing.shortfalls import end_for_line, notice, take_spare
from trays.staff.access import require
from trays.staff.models import Person, Signature
from trays.staff.signing import Signer, second_may, sign
from trays.stock.queries import site_day
from trays.web.errors import Refusal


@dataclass(frozen=True, slots=True)
class Found:
    """What was found of one line: how many are in the tray now, after `refilled` were put in.

    `state` says what became of the rest: missing or broken; or replaced, by `instead` where it is another
    type. `spare` is where the replacement comes from, `piece` one with a mark of its own.
    """

    line: ContentsLine
    state: str
    present: int
    refilled: int = 0
    instead: InstrumentType | None = None
    spare: Spare | None = None
    piece: Piece | None = None


def assembly_begin(
    *, by: Person, pack: Pack, place: Place, at: datetime, client_key: UUID | None = None
) -> Assembly:
    """Take a clean pack to the bench, against the newest contents list of its design that is in force.

    A set in circulation takes on a new version of its list when the first of its packs is assembled to it.

    Raises Refusal "no-way", "begun-by-another" (names them); NotAllowed.
    """
    site = pack.set.site
    require(by=by, act="process_packs", site_id=site.pk)

    def work() -> Assembly:
        (row,) = lock_packs([pack.pk])
        if row.state != PackState.CLEANED:
            raise no_way(row, PackState.ASSEMBLED)
        _take_newest_list(row, site_day(site, at))
        made, new = Assembly.objects.select_for_update().get_or_create(
            pack=row, round=row.round,
            defaults={"version": row.set.version, "begun_at": at, "begun_by": by},
        )  # fmt: skip
        if not new and made.begun_by_id != by.pk:
            raise Refusal(
                "begun-by-another",
                _("%(name)s is assembling pack %(pack)s already.")
                % {"name": made.begun_by.name, "pack": row.number},
                _("Ask, or take it over on its page."),
                assembly_id=made.pk,
            )
        record(
            chain=site.code, verb="assembly.begin", by=by, at=at, place_id=place.pk, client_key=client_key,
            answer={"assembly": made.pk}, lines=[Line("pack", row.pk, row.state, row.state)],
        )  # fmt: skip
        return made

    return once("assembly.begin", by, client_key, work)


def assembly_take_over(*, by: Person, assembly: Assembly, at: datetime) -> Assembly:
    """Go on with what a colleague has begun. Raises Refusal "list-closed"; NotAllowed."""
    require(by=by, act="process_packs", site_id=assembly.pack.set.site_id)

    def work() -> Assembly:
        row, pack = open_list(assembly)
        row.begun_by = by
        row.save(update_fields=["begun_by"])
        _write(row, pack, "assembly.take-over", by, at, None, [])
        return row

    return once("assembly.take-over", by, None, work)


def lines_check(
    *, by: Person, assembly: Assembly, found: Iterable[Found], at: datetime, client_key: UUID | None = None
) -> Assembly:
    """Take down what was found of one line, or of many at once. The latest word on a line counts.

    Raises Refusal "list-closed", "not-its-line", "no-such-number", "state-and-number" (there, but not all of
    it; or missing, but none), "no-spare", "piece-elsewhere"; NotAllowed.
    """
    require(by=by, act="process_packs", site_id=assembly.pack.set.site_id)
    rows = list(found)

    def work() -> Assembly:
        row, pack = open_list(assembly)
        lines: list[Line] = []
        for one in rows:
            lines += _check_line(row, pack, one, by, at)
        _write(row, pack, "assembly.check", by, at, client_key, lines)
        return row

    return once("assembly.check", by, client_key, work)


def rest_there(*, by: Person, assembly: Assembly, at: datetime, client_key: UUID | None = None) -> Assembly:
    """Say of every line that nobody has spoken of yet that all of it is there."""
    spoken = set(assembly.lines.values_list("line_id", flat=True))
    wanted = assembly.version.lines.filter(tray=assembly.pack.tray).exclude(pk__in=spoken)
    found = [Found(line, LineState.THERE, line.quantity) for line in wanted]
    return lines_check(by=by, assembly=assembly, found=found, at=at, client_key=client_key)


def assembly_close(
    *,
    by: Person,
    assembly: Assembly,
    at: datetime,
    checked_by: Signer | None = None,
    allowed: tuple[Signer, str] | None = None,
    client_key: UUID | None = None,
) -> Assembly:
    """Close the list: the pack is assembled.

    `allowed` is the named person who lets a pack go that is short of a critical line, and the reason; such a
    pack is still not ready for a case, and says so. `checked_by` is the second pair of eyes, where the site
    asks for it.

    Raises Refusal "lines-open" (says how many), "critical-short" (names the line), "second-check-missing",
    "same-person"; NotAllowed.
    """
    site = assembly.pack.set.site
    require(by=by, act="process_packs", site_id=site.pk)

    def work() -> Assembly:
        row, pack = open_list(assembly)
        _check_all_spoken(row, pack)
        _check_critical(row, allowed)
        policy = policy_on(site=site, day=site_day(site, at))
        if policy.second_check and checked_by is None:
            raise Refusal(
                "second-check-missing",
                _("Here a second person checks each pack before it is closed."),
                _("Let a colleague look, and sign with their PIN."),
            )
        if checked_by is not None and checked_by.person.pk == by.pk:
            raise Refusal("same-person", _("The second check is another person's."), _("Ask a colleague."))
        row.closed_at, row.closed_by = at, by
        row.checked_by = checked_by.person if checked_by else None
        if allowed is not None:
            signer, reason = allowed
            second_may(signer, act="allow_short", site_id=site.pk)
            row.short_by, row.short_reason = signer.person, reason.strip()[:200]
            row.signature = sign(
                by=signer, meaning=Signature.Meaning.ALLOWED_SHORT, subject="assembly", subject_id=row.pk,
                content=content_of(row), at=at,
            )  # fmt: skip
        row.save()
        lines = move([pack], PackState.ASSEMBLED, Step(by=by, at=at))
        _write(row, pack, "assembly.close", by, at, client_key, lines)
        return row

    return once("assembly.close", by, client_key, work)


def assembly_reopen(
    *, by: Person, assembly: Assembly, at: datetime, client_key: UUID | None = None
) -> Assembly:
    """Open a closed list again, or take a packed one apart: the pack is clean again, its lines as they
    were.
    """
    require(by=by, act="process_packs", site_id=assembly.pack.set.site_id)

    def work() -> Assembly:
        row, pack = _locked(assembly)
        if row.round != pack.round or row.closed_at is None:
            raise _closed(pack)
        lines = move(
            [pack], PackState.CLEANED, Step(by=by, at=at, reason="opened-again"),
            expected=(PackState.ASSEMBLED, PackState.PACKED, PackState.IN_LOAD, PackState.QUARANTINED),
        )  # fmt: skip
        row.closed_at = row.closed_by = row.checked_by = row.packed_at = row.packed_by = None
        row.short_by, row.short_reason, row.signature = None, "", None
        row.save()
        _write(row, pack, "assembly.reopen", by, at, client_key, lines)
        return row

    return once("assembly.reopen", by, client_key, work)


def pack_close(
    *,
    by: Person,
    assembly: Assembly,
    packaging: str,
    weight_grams: int,
    indicator_lot: str,
    at: datetime,
    client_key: UUID | None = None,
) -> Assembly:
    """Wrap an assembled pack: packaging, the indicator inside, the weight against the site's limit.

    Raises Refusal "not-assembled", "too-heavy" (says by how much), "indicator-missing"; NotAllowed.
    """
    site = assembly.pack.set.site
    require(by=by, act="process_packs", site_id=site.pk)
    if packaging not in Packaging.values:
        raise ValueError(f"there is no packaging {packaging!r}")

    def work() -> Assembly:
        row, pack = _locked(assembly)
        if pack.state != PackState.ASSEMBLED or row.round != pack.round:
            raise no_way(pack, PackState.PACKED)
        limit = policy_on(site=site, day=site_day(site, at)).weight_limit_grams
        if weight_grams > limit:
            raise Refusal(
                "too-heavy",
                _("The pack weighs %(weight)s kg; at most %(limit)s kg are allowed here.")
                % {"weight": f"{weight_grams / 1000:.2f}", "limit": f"{limit / 1000:.2f}"},
                _("Split it over two trays, or weigh it again."),
                field="weight",
            )
        if weight_grams < 1:
            raise Refusal("no-weight", _("This is no weight."), _("Weigh the pack."), field="weight")
        if not indicator_lot.strip():
            raise Refusal(
                "indicator-missing",
                _("No indicator is named that lies inside."),
                _("Put one in, and give its lot."),
                field="indicator_lot",
            )
        row.packed_at, row.packed_by, row.packaging = at, by, packaging
        row.weight_grams, row.indicator_lot = weight_grams, indicator_lot.strip()[:20]
        row.save()
        lines = move(
            [pack], PackState.PACKED, Step(by=by, at=at), packed_at=at, packed_by=by,
            weight_grams=weight_grams, container=packaging == Packaging.CONTAINER,
        )  # fmt: skip
        _write(row, pack, "pack.close", by, at, client_key, lines)
        return row

    return once("pack.close", by, client_key, work)


def content_of(assembly: Assembly) -> dict[str, object]:
    """What a signature under an assembly is bound to: pack, round, list version, and every line as found."""
    return {
        "pack": assembly.pack.number,
        "round": assembly.round,
        "version": [assembly.version.design_id, assembly.version.version],
        "lines": sorted(
            [one.line.number, one.state, one.present] for one in assembly.lines.select_related("line")
        ),
        "reason": assembly.short_reason,
    }


def _check_line(row: Assembly, pack: Pack, one: Found, by: Person, at: datetime) -> list[Line]:
    line = one.line
    if line.version_id != row.version_id or line.tray != pack.tray:
        raise Refusal(
            "not-its-line",
            _("Line %(line)s is not on this list.") % {"line": line.number},
            _("Load the page again."),
        )
    if not 0 <= one.present <= line.quantity:
        raise Refusal(
            "no-such-number",
            _("Line %(line)s has %(most)s pieces; %(given)s cannot be there.")
            % {"line": line.number, "most": line.quantity, "given": one.present},
            _("Put the number right."),
        )
    whole = one.present == line.quantity
    if whole != (one.state in (LineState.THERE, LineState.REPLACED)):
        raise Refusal(
            "state-and-number",
            _("Line %(line)s: %(given)s of %(most)s is not “%(state)s”.")
            % {
                "line": line.number, "given": one.present, "most": line.quantity,
                "state": LineState(one.state).label,
            },
            _("Say how many are there, or what is wrong with the rest."),
        )  # fmt: skip
    lines = [Line("contents_line", line.pk, "", one.state, one.present)]
    if one.spare is not None:
        lines.append(take_spare(spare=one.spare, quantity=max(one.refilled, 1)))
    if one.piece is not None:
        lines.append(_put_piece(one.piece, pack))
    AssemblyLine.objects.update_or_create(
        assembly=row, line=line,
        defaults={
            "state": one.state, "present": one.present, "refilled": one.refilled, "instead": one.instead,
            "giai": one.piece.mark[:30] if one.piece else "", "at": at, "by": by,
        },
    )  # fmt: skip
    PackLine.objects.update_or_create(pack=pack, line=line, defaults={"present": one.present})
    lacking = line.quantity - one.present
    lines += end_for_line(pack=pack, line=line, now_lacking=lacking, by=by, at=at)
    open_ones = Shortfall.objects.filter(pack=pack, line=line, ended_at__isnull=True)
    known = sum(open_ones.values_list("quantity", flat=True))
    if lacking > known:
        cause = ShortfallCause.BROKEN if one.state == LineState.BROKEN else ShortfallCause.MISSING
        same = open_ones.filter(cause=cause).values_list("quantity", flat=True).first() or 0
        lines += notice(pack=pack, line=line, quantity=same + lacking - known, cause=cause, by=by, at=at)
    return lines


def _put_piece(piece: Piece, pack: Pack) -> Line:
    """A single instrument with a mark of its own goes into the tray: from the spares, or it was there."""
    row = Piece.objects.select_for_update().get(pk=piece.pk)
    here = row.site_id == pack.set.site_id and row.pack_id in (None, pack.pk)
    if not here or row.state not in (PieceState.SPARE, PieceState.IN_SET):
        raise Refusal(
            "piece-elsewhere",
            _("Instrument %(mark)s is %(state)s, not free for this pack.")
            % {"mark": row.mark, "state": row.get_state_display()},
            _("Find out where it belongs before it is packed."),
        )
    before, row.state, row.pack = row.state, PieceState.IN_SET, pack
    row.save(update_fields=["state", "pack"])
    return Line("piece", row.pk, before, row.state)


def _take_newest_list(pack: Pack, day: object) -> None:
    """Bring a set to its design's list in force, unless one of its packs is being built, or is built, to the
    old one.
    """
    instrument_set = pack.set
    newest = instrument_set.version.design.versions.filter(valid_from__lte=day).order_by("-version").first()
    if newest is None or newest.pk == instrument_set.version_id:
        return
    others = instrument_set.packs.exclude(pk=pack.pk)
    if others.filter(
        state__in=(PackState.ASSEMBLED, PackState.PACKED, PackState.IN_LOAD, *Pack.READY)
    ).exists():
        return
    begun = Assembly.objects.filter(pack__set=instrument_set, round=F("pack__round"))
    if begun.filter(pack__state=PackState.CLEANED).exists():
        return
    instrument_set.version = newest
    instrument_set.save(update_fields=["version"])


def _check_all_spoken(row: Assembly, pack: Pack) -> None:
    wanted = row.version.lines.filter(tray=pack.tray).count()
    open_lines = wanted - row.lines.count()
    if open_lines:
        raise Refusal(
            "lines-open",
            _("%(count)s of %(all)s lines are still to be checked.") % {"count": open_lines, "all": wanted},
            _("Look at each, then close the list."),
        )


def _check_critical(row: Assembly, allowed: tuple[Signer, str] | None) -> None:
    short = [
        one
        for one in row.lines.select_related("line__instrument", "line__rack_stock").order_by("line__number")
        if one.line.critical and one.present < one.line.quantity
    ]
    if not short:
        return
    if allowed is None:
        raise Refusal(
            "critical-short",
            _("Line %(line)s is critical and not complete, so the list cannot be closed as it is.")
            % {"line": short[0].line.number},
            _("Take a spare, or have it allowed by a named person with a reason."),
        )
    if not allowed[1].strip():
        raise Refusal(
            "reason-missing",
            _("No reason is given."),
            _("Say why it is packed all the same."),
            field="reason",
        )


def open_list(assembly: Assembly) -> tuple[Assembly, Pack]:
    """Within an act: the assembly and its pack, locked. Raises Refusal "list-closed"."""
    row, pack = _locked(assembly)
    if row.closed_at is not None or pack.state != PackState.CLEANED or row.round != pack.round:
        raise _closed(pack)
    return row, pack


def _locked(assembly: Assembly) -> tuple[Assembly, Pack]:
    """The pack and then its assembly, locked: packs come before what is kept of them, as everywhere."""
    (pack,) = lock_packs([assembly.pack_id])
    row = Assembly.objects.select_for_update(of=("self",)).select_related("version").get(pk=assembly.pk)
    return row, pack


def _closed(pack: Pack) -> Refusal:
    return Refusal(
        "list-closed",
        _("The list of pack %(pack)s is not open any more.") % {"pack": pack.number},
        _("Load the page again: a colleague has closed it, or the pack has moved on."),
        pack_id=pack.pk,
    )


def _write(
    row: Assembly, pack: Pack, verb: str, by: Person, at: datetime, client_key: UUID | None, lines: list[Line]
) -> None:
    record(
        chain=pack.set.site.code, verb=verb, by=by, at=at, place_id=pack.place_id, client_key=client_key,
        answer={"assembly": row.pk},
        lines=[Line("assembly", row.pk), *(lines or [Line("pack", pack.pk, pack.state, pack.state)])],
    )  # fmt: skip


def once(verb: str, by: Person, client_key: UUID | None, work: Callable[[], Assembly]) -> Assembly:
    """Do an act on an assembly in one transaction, or give the answer of its key again."""
    return act_once(
        verb=verb,
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Assembly.objects.get(pk=answer["assembly"]),
    )
