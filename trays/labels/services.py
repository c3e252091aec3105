"""Printing labels: who may, what is printed, what is refused, and one line in the record."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from uuid import UUID, uuid5

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from trays.labels.kinds import LabelKind, Refused
from trays.labels.models import LabelFile, LabelPaper, LabelRun
from trays.labels.queries import own_stocks, sites_of
from trays.labels.runs import Drawing, File
from trays.labels.setup import Setup, setup_named
from trays.labels.sources import Source, source_of, sources
from trays.labels.writer import LABELS_PER_FILE, SymbolFacts
from trays.ledger.append import Line, record
from trays.parties.models import Site
from trays.staff.access import require
from trays.staff.models import Person
from trays.symbols.payload import Carrier
from trays.web.errors import Refusal, Unreadable

# One press, one file; more go to the worker, file after file.
MOST_IN_ONE_FILE = LABELS_PER_FILE
MOST_IN_A_RUN = 20_000
FILES_KEPT = timedelta(days=7)
# Of the rows that got no label so many are kept with their reasons.
_REFUSED_KEPT = 1000


@dataclass(frozen=True, slots=True)
class Printed:
    """The paper, how many labels are on it, the rows that got none, and the symbols as they were drawn."""

    run_id: int
    pdf: bytes
    labels: int
    refused: tuple[Refused, ...]
    symbols: tuple[SymbolFacts, ...]


@dataclass(frozen=True, slots=True)
class Order:
    """What is asked for, made sure of: the person may, the rows are of one site, the stock is on file."""

    by: Person
    source: Source
    site: Site
    ids: tuple[int, ...]
    setup: Setup
    start: int
    key: UUID | None


def label_order(
    *,
    by: Person,
    kind: str,
    ids: Iterable[int],
    stock: str,
    carrier: str = Carrier.MATRIX,
    start: int = 1,
    site_id: int | None = None,
    client_key: UUID | None = None,
) -> Order:
    """Check an order for labels; nothing is drawn or saved.

    Parameters
    ----------
    kind
        A value of ``LabelKind``.
    ids
        Keys of the rows; the order of printing is the source's own.
    stock
        A sheet's code ("a4"), or a roll's with the dots of the head ("pack-roll-203"); also the site's own.
    carrier
        "datamatrix", or "gs1-128" where it fits.
    start
        The first free position of a part-used sheet, from 1 along the row.
    site_id
        Whose rows; left out where all rows are of one site.
    client_key
        Names one press of the button: the same order under the same key is the same run.

    Raises
    ------
    Unreadable
        "unknown-label", "unknown-stock", "unknown-symbol", "no-such-position".
    Refusal
        "nothing-to-print", "too-many-labels", "labels-of-two-sites".
    NotAllowed
        "not-your-act".
    """
    source = _source(kind)
    # No row has a key beyond these, and a database may not take one.
    chosen = [key for key in dict.fromkeys(ids) if 0 < key < 2**63]
    if len(chosen) > MOST_IN_A_RUN:
        raise _too_many(MOST_IN_A_RUN)
    site = _site(by, source, chosen, site_id)
    setup = setup_named(stock, carrier=carrier, own=own_stocks(site.pk))
    if not 1 <= start <= setup.stock.per_page:
        raise Unreadable(
            "no-such-position",
            _("The sheet has no position %(start)s.") % {"start": start},
            _("Choose one from 1 to %(last)s.") % {"last": setup.stock.per_page},
        )
    found = tuple(source.at_sites([site.pk], chosen).values_list("pk", flat=True))
    ordered = tuple(dict.fromkeys(found))
    if not ordered:
        raise _nothing(())
    key = _key(client_key, (source.kind, setup.code, setup.carrier, start, sorted(ordered)))
    return Order(by, source, site, ordered, setup, start, key)


def _key(client_key: UUID | None, content: Sequence[object]) -> UUID | None:
    """The same press of the same order has the same key; another order from the same page has another."""
    return uuid5(client_key, json.dumps(content)) if client_key else None


def labels_print(
    *,
    by: Person,
    kind: str,
    ids: Iterable[int],
    stock: str,
    carrier: str = Carrier.MATRIX,
    start: int = 1,
    at: datetime,
    site_id: int | None = None,
    client_key: UUID | None = None,
    whole: bool = False,
) -> Printed:
    """Print labels as one file and record it: one event.

    Parameters as ``label_order``, and raises as it does. Rows whose payload is missing or breaks a rule, or
    that do not fit the stock, are left out and told in ``refused``; with ``whole`` they are a refusal
    "some-get-no-label" (its fact ``refused`` names them), and then nothing is printed or recorded. An order
    that was printed under its client key before comes back as it was.
    """
    order = label_order(
        by=by,
        kind=kind,
        ids=ids,
        stock=stock,
        carrier=carrier,
        start=start,
        site_id=site_id,
        client_key=client_key,
    )
    return order_print(order=order, at=at, whole=whole)


def order_print(*, order: Order, at: datetime, whole: bool = False) -> Printed:
    """The same for an order that was checked: drawn first, then saved with its event in one transaction."""
    if len(order.ids) > MOST_IN_ONE_FILE:
        raise _too_many(MOST_IN_ONE_FILE)
    if before := _again(order):
        return _printed(before)
    drawing = Drawing(order.source, order.site.pk, order.ids, order.setup, order.start, most=10**6)
    files = tuple(drawing.files())
    if not files:
        raise _nothing(drawing.refused)
    if whole and drawing.refused:
        raise _some(drawing.refused)
    try:
        with transaction.atomic():
            run = _run(order, at=at, state=LabelRun.State.MADE)
            _keep(run, files[0])
            _finish(run, drawing, files[0].rows, at=at)
    except IntegrityError:
        # The same press twice at the same moment.
        if before := _again(order):
            return _printed(before)
        raise
    return _printed(run)


def order_begin(*, order: Order, at: datetime) -> LabelRun:
    """A run for the worker to make; the one that the same press began before, if there is one."""
    _clear_old(at)
    if before := _again(order):
        return before
    try:
        with transaction.atomic():
            return _run(order, at=at, state=LabelRun.State.WAITING)
    except IntegrityError:
        if before := _again(order):
            return before
        raise


def run_make(*, run: LabelRun, at: datetime) -> LabelRun:
    """Make the files of a run that waits, and record it when all are made: one event.

    Progress is saved file by file. A run that somebody makes already, or that is made, is left alone. One
    that comes to nothing is said to be so and leaves no file.
    """
    waiting = LabelRun.objects.filter(pk=run.pk, state=LabelRun.State.WAITING)
    if not waiting.update(state=LabelRun.State.MAKING):
        run.refresh_from_db()
        return run
    setup = setup_named(run.stock, carrier=run.carrier, own=own_stocks(run.site_id))
    drawing = Drawing(source_of(LabelKind(run.kind)), run.site_id, run.ids, setup, run.start)
    rows: list[int] = []
    try:
        for file in drawing.files():
            _keep(run, file)
            rows += file.rows
            LabelRun.objects.filter(pk=run.pk).update(done=drawing.seen, labels=len(rows))
        with transaction.atomic():
            run.refresh_from_db()
            if rows:
                _finish(run, drawing, rows, at=at)
            else:
                _fail(run, _nothing(drawing.refused).sentence, drawing)
    except Exception:
        run.files.all().delete()
        _fail(run, _("The labels could not be made. Print them again."), drawing)
        raise
    return run


def paper_save(*, by: Person, paper: LabelPaper, at: datetime) -> LabelPaper:
    """Add label stock to a site, or change it; one event. The form has checked its lengths."""
    require(by=by, act="print_labels", site_id=paper.site_id)
    with transaction.atomic():
        new = paper.pk is None
        paper.save()
        verb = "label_stock.add" if new else "label_stock.change"
        line = Line("label_stock", paper.pk, "", paper.code)
        record(chain=paper.site.code, verb=verb, by=by, at=at, lines=[line])
    return paper


# Steps of the acts above


def _source(kind: str) -> Source:
    try:
        return source_of(LabelKind(kind))
    except (ValueError, KeyError):
        raise Unreadable(
            "unknown-label",
            _("There is no such kind of label."),
            _("Choose one of: %(kinds)s.") % {"kinds": ", ".join(one.kind for one in sources())},
        ) from None


def _site(by: Person, source: Source, ids: Sequence[int], site_id: int | None) -> Site:
    """The one site of the rows, asked for the act."""
    found = sites_of(source.kind, ids)
    if site_id is not None:
        require(by=by, act=source.act, site_id=site_id)
        return Site.objects.get(pk=site_id)
    for one in found:
        require(by=by, act=source.act, site_id=one)
    if not found:
        raise _nothing(())
    if len(found) > 1:
        raise Refusal(
            "labels-of-two-sites",
            _("The labels are of more than one site."),
            _("Print those of one site at a time."),
        )
    return Site.objects.get(pk=found.pop())


def _again(order: Order) -> LabelRun | None:
    """The run that this press made before."""
    if order.key is None:
        return None
    return LabelRun.objects.filter(client_key=order.key, by=order.by).first()


def _run(order: Order, *, at: datetime, state: str) -> LabelRun:
    return LabelRun.objects.create(
        client_key=order.key,
        site=order.site,
        kind=order.source.kind.value,
        stock=order.setup.code,
        carrier=order.setup.carrier.value,
        start=order.start,
        by=order.by,
        at=at,
        state=state,
        ids=list(order.ids),
    )


def _keep(run: LabelRun, file: File) -> None:
    LabelFile.objects.create(run=run, number=file.number, labels=len(file.rows), pdf=file.pdf)


def _finish(run: LabelRun, drawing: Drawing, rows: Sequence[int], *, at: datetime) -> None:
    """The run is made: what it came to, and its event, written last."""
    run.state, run.made_at = LabelRun.State.MADE, at
    run.done, run.labels = drawing.seen, len(rows)
    run.refused = [asdict(row) for row in drawing.refused[:_REFUSED_KEPT]]
    run.symbols = sorted(drawing.symbols)
    run.save()
    lines = [Line(drawing.source.subject, row, "", run.stock) for row in rows]
    record(chain=run.site.code, verb="label.print", by=run.by, at=at, lines=lines)


def _fail(run: LabelRun, said: str, drawing: Drawing) -> None:
    run.state, run.said, run.done = LabelRun.State.FAILED, said[:300], drawing.seen
    run.refused = [asdict(row) for row in drawing.refused[:_REFUSED_KEPT]]
    run.save()


def _clear_old(at: datetime) -> None:
    LabelFile.objects.filter(run__at__lt=at - FILES_KEPT).delete()


def _printed(run: LabelRun) -> Printed:
    file = run.files.first()
    if file is None:
        raise Refusal(
            "file-gone",
            _("These labels were made before; their file is not kept any more."),
            _("Open the page of labels again and print them anew."),
        )
    refused = tuple(Refused(**row) for row in run.refused)
    symbols = tuple((bool(linear), float(x), float(quiet)) for linear, x, quiet in run.symbols)
    return Printed(run.pk, bytes(file.pdf), run.labels, refused, symbols)


# Refusals


def _too_many(most: int) -> Refusal:
    return Refusal(
        "too-many-labels",
        _("At most %(most)s labels are made at once.") % {"most": most},
        _("Choose fewer."),
    )


def _nothing(refused: Sequence[Refused]) -> Refusal:
    if not refused:
        return Refusal(
            "nothing-to-print", _("No label was chosen that can be made."), _("Tick at least one line.")
        )
    first = f"{refused[0].called}: {refused[0].why}"
    more = len(refused) - 1
    rest = ngettext("%(count)s more has none either.", "%(count)s more have none either.", more)
    sentence = _("No label can be made. %(first)s") % {"first": first}
    if more:
        sentence = f"{sentence} {rest % {'count': more}}"
    return Refusal("nothing-to-print", sentence, _("Complete what is on file, then print again."))


def _some(refused: Sequence[Refused]) -> Refusal:
    count = len(refused)
    sentence = ngettext("%(count)s of them gets no label.", "%(count)s of them get no label.", count)
    return Refusal(
        "some-get-no-label",
        sentence % {"count": count},
        _("Print the others without them."),
        refused=tuple(refused),
    )
