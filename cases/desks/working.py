"""What a scan does on a page of work: a small table from the page to its act.

Elsewhere a scan opens what it names. On these pages it does the page's own act; what does not belong there is
refused in a sentence, and kept like any refused scan.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from uuid import UUID

from django.http import HttpRequest
from django.urls import Resolver404, resolve, reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.desks.at_delivery import take_in
from cases.desks.at_loan import loan_comes, loan_goes
from cases.desks.at_shelf import (
    goods_in,
    move_here,
    place_to_count,
    seen_here,
    shelf_first,
    sought_found,
    transfer_scan,
)
from cases.desks.at_table import accept_pack, badge, box, open_case, open_pack
from cases.desks.found import Finding, Link, refuse
from cases.desks.page_scan import Scan, wrong
from cases.desks.page_scan import done as _done
from cases.picks.not_this import Goods, line_words
from cases.picks.queries import whole_lists
from cases.picks.ticking import goods_pick, packs_pick
from trays.identifiers import ours
from trays.identifiers.meaning import Reading
from trays.instruments.models import Pack, PackState
from trays.instruments.models_pieces import Piece
from trays.places.models import Place
from trays.processing import bench, queries, queries_bench, runs, views_bench
from trays.processing.bench import Found
from trays.processing.gathering import Hands, Trolley, shown_packs
from trays.processing.models import LineState
from trays.processing.models_machines import RunPack, RunState
from trays.processing.moving import no_way
from trays.processing.putting import named, no_place, packs_put
from trays.processing.storing import OUTLETS, SHELVES
from trays.staff.access import may
from trays.staff.models import Person
from trays.web.errors import Refusal

NOT_ON_FILE = ("unknown-item", "unit-not-on-file")
"""Refusals of codes that are read well but lead to nothing on file."""

Act = Callable[[Scan], Finding | None]
"""Does the page's act and says so; None where this page has nothing to do with the thing. Raises Refusal."""


@dataclass(frozen=True, slots=True)
class WorkPage:
    """A page whose scans act: the name of its address, and whether that names a row.

    `facts`: what is scanned there is a fact, so also codes that are not on file reach its act; with
    `sets` those of sets too.
    """

    name: str
    act: Act
    of_row: bool = False
    facts: bool = False
    sets: bool = False

    def takes(self, found: Finding, reading: Reading) -> bool:
        """Whether what leads to nothing on file reaches the act all the same."""
        new_set = self.sets and isinstance(reading.key, ours.SetKey)
        return self.facts and (found.code in NOT_ON_FILE or new_set)


def work_page(path: str) -> tuple[WorkPage, dict[str, Any]] | None:
    """The page of work that a path belongs to: itself, or where its forms are sent."""
    try:
        match = resolve(path) if path else None
    except Resolver404:
        return None
    if match is None:
        return None
    page = WORK.get(_FORMS.get(match.url_name or "", match.url_name or ""))
    return (page, match.kwargs) if page else None


def address_of(path: str) -> str:
    """Where the page of work itself stands, whichever of its forms the path is; "" for other pages."""
    found = work_page(path)
    if found is None:
        return ""
    page, kwargs = found
    return reverse(page.name, args=[kwargs["pk"]] if page.of_row else None)


def acted(
    found: Finding,
    reading: Reading,
    *,
    request: HttpRequest,
    path: str,
    by: Person,
    at: datetime,
    key: UUID | None,
) -> Finding:
    """What becomes of a finding on the page where it was scanned: the page's act, its refusal, or itself."""
    here = work_page(path)
    if here is None or found.ways or (found.refused and not here[0].takes(found, reading)):
        return found
    page, kwargs = here
    try:
        done = page.act(Scan(request, by, at, key, int(kwargs.get("pk", 0)), found, reading))
    except Refusal as refusal:
        said = refuse(refusal.code, refusal.sentence, refusal.next_step, keep_raw=found.keep_raw)
        opens = (Link(_("Open it"), found.url),) if found.url else found.links
        return replace(said, links=opens)
    return done or found


def _fill(scan: Scan) -> Finding | None:
    """Into the run that is being filled."""
    run = queries.whole_runs().filter(pk=scan.pk).first()
    if run is None or not may(by=scan.by, act="process_packs", site_id=run.machine.site_id):
        return None
    if run.state != RunState.FILLING:
        return None
    packs = scan.packs
    if not packs:
        raise wrong(scan, _wants_packs())
    runs.run_fill(by=scan.by, run=run, packs=packs, at=scan.at, client_key=scan.key)
    inside = RunPack.objects.filter(run=run).count()
    return _done(
        _("%(packs)s: in.") % {"packs": named(packs)},
        _("%(inside)s of %(all)s packs are in %(machine)s.")
        % {"inside": inside, "all": run.machine.packs, "machine": run.machine.name},
    )


def _gather(scan: Scan) -> Finding | None:
    """Up onto the trolley of the page where used packs come in."""
    packs = scan.packs
    if not packs:
        raise wrong(scan, _wants_packs())
    if not may(by=scan.by, act="process_packs", site_id=packs[0].set.site_id):
        return None
    trolley = Trolley(scan.request)
    new = trolley.add(packs)
    if not new:
        return _done(_("%(packs)s: in hand already.") % {"packs": named(packs)})
    unopened = [pack for pack in packs if pack.state not in Pack.IN_USE]
    why = (
        _("By the record it is %(state)s. If it comes back used, receive it; else put it back to the start.")
        % {"state": str(unopened[0].get_state_display()).lower()}
        if unopened
        else ""
    )
    return _done(
        _("%(packs)s: in hand.") % {"packs": named(packs)},
        why,
        _("Scan the next, or receive all %(n)s.") % {"n": len(trolley.ids)},
    )


def _to_bench(scan: Scan) -> Finding | None:
    """A pack opens its list; a set the list of its first pack that waits at the bench."""
    packs = scan.packs
    if not packs:
        raise wrong(scan, _("Scan a pack; on its list, an instrument with a mark of its own."))
    if not may(by=scan.by, act="process_packs", site_id=packs[0].set.site_id):
        return None
    waits = [pack for pack in packs if pack.state in queries_bench.ON_BENCH]
    if not waits:
        raise no_way(packs[0], PackState.ASSEMBLED)
    return Finding(what=named(waits[:1]), url=views_bench.address(waits[0]))


def _on_bench(scan: Scan) -> Finding | None:
    """A single instrument ticks its line; another pack opens its own list."""
    if isinstance(scan.thing, Piece):
        return _tick(scan, scan.thing)
    return _to_bench(scan)


def _tick(scan: Scan, piece: Piece) -> Finding | None:
    pack = shown_packs().filter(pk=scan.pk).first()
    if pack is None or not may(by=scan.by, act="process_packs", site_id=pack.set.site_id):
        return None
    assembly = queries_bench.current_assembly(pack)
    if assembly is None:
        raise Refusal("not-begun", _("This list has not been begun."), _("Take the pack to the bench first."))
    lines = queries_bench.bench_list(pack, assembly).lines
    fitting = [one for one in lines if one.line.instrument_id == piece.type_id]
    if not fitting:
        raise Refusal(
            "not-on-this-list",
            _("%(piece)s, instrument %(mark)s, is not on the list of pack %(pack)s.")
            % {"piece": piece.type.name, "mark": piece.mark, "pack": pack.number},
            _("Put it aside and find out where it belongs.")
            if piece.pack is None
            else _("It belongs to set %(set)s: put it there.") % {"set": piece.pack.set.code},
        )
    still = next((one for one in fitting if one.found is None or one.short), None)
    if still is None:
        raise Refusal(
            "line-there-already",
            _("Line %(line)s, %(piece)s, is there already.")
            % {"line": fitting[0].line.number, "piece": piece.type.name},
            _("Look whether this one is too many; undo the line if the wrong one was taken down."),
        )
    if still.line.quantity > 1:
        return Finding(
            what=_("Line %(line)s has several of these.") % {"line": still.line.number},
            url=views_bench.address(pack, still.line.number),
        )
    found = Found(still.line, LineState.THERE, 1, piece=piece)
    bench.lines_check(by=scan.by, assembly=assembly, found=[found], at=scan.at, client_key=scan.key)
    return _done(
        _("Line %(line)s, %(piece)s: there.") % {"line": still.line.number, "piece": piece.type.name},
        _("Instrument %(mark)s.") % {"mark": piece.mark},
    )


def _bring(scan: Scan) -> Finding | None:
    """A shelf, theatre or trolley and packs, in either order."""
    hands = Hands(scan.request)
    if isinstance(scan.thing, Place):
        if scan.thing.kind not in (*SHELVES, *OUTLETS):
            raise no_place(scan.thing)
        packs = hands.packs(scan.thing.site)
        said = ""
        if packs:
            said = packs_put(by=scan.by, packs=packs, place=scan.thing, at=scan.at, client_key=scan.key)
            hands.drop(pack.pk for pack in packs)
        hands.hold(scan.thing)
        goes = _("What you scan now goes to %(place)s.") % {"place": scan.thing.name}
        return _done(said or goes, goes if said else "")
    packs = scan.packs
    if not packs:
        raise wrong(scan, _("Scan a shelf, a theatre, a trolley, a pack, or a set."))
    place = hands.place(packs[0].set.site)
    if place is not None:
        return _done(packs_put(by=scan.by, packs=packs, place=place, at=scan.at, client_key=scan.key))
    hands.add(packs)
    return _done(
        _("%(packs)s: in hand.") % {"packs": named(packs)}, "", _("Scan where it goes, or the next pack.")
    )


def _bring_this(scan: Scan) -> Finding | None:
    """On a pack's own page a shelf, theatre or trolley is where it goes."""
    pack = shown_packs().filter(pk=scan.pk).first()
    if pack is None or not isinstance(scan.thing, Place):
        return None
    if not may(by=scan.by, act="issue_packs", site_id=pack.set.site_id):
        return None
    return _done(packs_put(by=scan.by, packs=[pack], place=scan.thing, at=scan.at, client_key=scan.key))


def _pick(scan: Scan) -> Finding | None:
    """A pack, a set's packs, a unit or a consumable ticks its line of the list."""
    row = whole_lists().filter(pk=scan.pk).first()
    if row is None or not may(by=scan.by, act="make_pick_list", site_id=row.case.site_id):
        return None
    by, at, key = scan.by, scan.at, scan.key
    if packs := scan.packs:
        lines = packs_pick(by=by, pick_list=row, packs=packs, at=at, client_key=key)
    elif isinstance(scan.thing, Goods):
        lines = goods_pick(by=by, pick_list=row, goods=scan.thing, at=at, client_key=key)
    else:
        return None
    numbers = ", ".join(str(line.number) for line in lines)
    left = row.lines.filter(picked_at__isnull=True).count()
    still = ngettext("%(n)s line is still to pick.", "%(n)s lines are still to pick.", left) % {"n": left}
    return _done(
        _("Picked: %(what)s.") % {"what": "; ".join(line_words(line) for line in lines)},
        ngettext("Line %(numbers)s.", "Lines %(numbers)s.", len(lines)) % {"numbers": numbers},
        still if left else _("Everything on the list is picked."),
    )


def _wants_packs() -> str:
    return _("Scan a pack, or a set for all its packs.")


WORK = {
    page.name: page
    for page in (
        WorkPage("run", _fill, of_row=True),
        WorkPage("receive", _gather),
        WorkPage("benches", _to_bench),
        WorkPage("bench", _on_bench, of_row=True),
        WorkPage("store", _bring),
        WorkPage("pack", _bring_this, of_row=True),
        WorkPage("pick-list", _pick, of_row=True),
        WorkPage("theatre-today", open_case),
        WorkPage("theatre-case", open_pack, of_row=True, facts=True),
        WorkPage("theatre-count", accept_pack, of_row=True),
        WorkPage("theatre-implants", box, of_row=True, facts=True),
        WorkPage("theatre-sign", badge, of_row=True),
        WorkPage("order-receive", take_in, of_row=True, facts=True),
        WorkPage("receiving", goods_in, facts=True),
        WorkPage("stock-moves", shelf_first),
        WorkPage("stock-moves-to", move_here, of_row=True, facts=True),
        WorkPage("transfer", transfer_scan, of_row=True, facts=True),
        WorkPage("stock-takes", place_to_count),
        WorkPage("stock-take", seen_here, of_row=True, facts=True),
        WorkPage("safety-notice", sought_found, of_row=True, facts=True),
        WorkPage("loan-arrive", loan_comes, of_row=True, facts=True, sets=True),
        WorkPage("loan-count-out", loan_goes, of_row=True, facts=True),
    )
}
_FORMS = {
    form: page
    for page, forms in {
        "run": (
            "run-fill", "run-take-out", "run-start", "run-end", "run-log", "run-indicator", "wash-decide",
            "load-release", "load-fail",
        ),
        "receive": ("receive-gather", "receive-done", "receive-back", "receive-lack"),
        "bench": (
            "bench-begin", "bench-take-over", "bench-line", "bench-rest", "bench-undo", "bench-close",
            "bench-reopen", "bench-pack",
        ),
        "store": ("store-gather", "store-place", "store-done"),
        "theatre-case": ("theatre-open", "theatre-trolley", "theatre-pack"),
        "theatre-sign": ("theatre-record-sign", "theatre-unsigned", "theatre-close-exception"),
        "theatre-implants": ("theatre-box-open", "theatre-box-down", "theatre-decision", "theatre-explant"),
        "pick-list": ("pick-list-line", "pick-list-undo", "pick-list-issue"),
        "loan-arrive": ("loan-arrive-set", "loan-arrive-shelf", "loan-arrive-unit"),
        "loan-count-out": ("loan-count-seen", "loan-count-done"),
        "order-receive": (
            "order-receive-begin", "order-receive-hand", "order-receive-undo", "order-receive-done",
        ),
        "receiving": ("receiving-do",),
        "stock-moves-to": ("stock-move-thing", "stock-move-ticked", "stock-move-pieces"),
        "transfer": (
            "transfer-thing", "transfer-pieces", "transfer-off", "transfer-send", "transfer-cancel",
            "transfer-arrive", "transfer-end",
        ),
        "stock-takes": ("stock-take-begin",),
        "stock-take": (
            "stock-take-see", "stock-take-pieces", "stock-take-recount", "stock-take-agree",
            "stock-take-adjust", "stock-take-break-off",
        ),
        "safety-notice": ("safety-notice-close",),
        "pack": (
            "pack-store", "pack-issue", "pack-open", "pack-quarantine", "pack-lift", "pack-back", "pack-out",
        ),
    }.items()
    for form in forms
}  # fmt: skip
"""A page that shows a form again stands at the form's own address."""
