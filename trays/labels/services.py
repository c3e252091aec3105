"""Printing labels: who may, what is printed, what is refused, and one line in the record."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from trays.labels.cautions import cautions
from trays.labels.draw import labels_pdf, printable
from trays.labels.kinds import Label, LabelKind, Refused, Stock
from trays.labels.queries import labels_of, sites_of
from trays.ledger.append import Line, record
from trays.parties.models import Site
from trays.staff.access import require
from trays.staff.models import Person
from trays.symbols.stock import A4_LABELS_24
from trays.web.errors import Refusal, Unreadable

# Subjects of the record's lines.
_SUBJECT = {LabelKind.PACK: "pack", LabelKind.SHELF: "place", LabelKind.UNIT: "unit"}
MOST_AT_ONCE = 2000


@dataclass(frozen=True, slots=True)
class Printed:
    """The paper, how many labels are on it, and the rows that got none, each with its reason."""

    pdf: bytes
    labels: int
    refused: tuple[Refused, ...]


def labels_print(
    *, by: Person, kind: str, ids: Iterable[int], stock: str, start: int = 1, at: datetime
) -> Printed:
    """Print labels of packs, shelves or units and record it, one event per site.

    `kind` is pack, shelf or unit; `stock` roll-203, roll-300 or a4; `start` the first free position of the A4
    sheet, 1 to 24. Labels whose payload is missing or breaks a rule are left out and told in `refused`; the
    others are printed. Refuses: "not-your-act", "unknown-label", "no-such-position", "nothing-to-print",
    "too-many-labels".
    """
    what, paper = _kind(kind), _stock(stock)
    if not 1 <= start <= A4_LABELS_24.per_page:
        raise Unreadable(
            "no-such-position",
            _("The sheet has no position %(start)s.") % {"start": start},
            _("Choose one from 1 to %(last)s.") % {"last": A4_LABELS_24.per_page},
        )
    labels, refused = _sorted_out(by=by, kind=what, ids=ids, stock=paper)
    if not labels:
        raise _nothing(refused)
    pdf = labels_pdf(labels, kind=what, stock=paper, start=start, cautions=" ".join(cautions(what)))
    _tell(labels, kind=what, by=by, at=at, stock=paper)
    return Printed(pdf, len(labels), refused)


def labels_refused(*, by: Person, kind: str, ids: Iterable[int], stock: str) -> tuple[Refused, ...]:
    """Which of the rows would get no label on that stock, and why. Prints and records nothing."""
    return _sorted_out(by=by, kind=_kind(kind), ids=ids, stock=_stock(stock))[1]


def _sorted_out(
    *, by: Person, kind: LabelKind, ids: Iterable[int], stock: Stock
) -> tuple[list[Label], tuple[Refused, ...]]:
    """Labels that can be printed whole, and the rows that cannot; asks for each row's site first."""
    chosen = list(dict.fromkeys(ids))
    if len(chosen) > MOST_AT_ONCE:
        raise Refusal(
            "too-many-labels",
            _("At most %(most)s labels are made at once.") % {"most": MOST_AT_ONCE},
            _("Choose fewer."),
        )
    sites = sites_of(kind, chosen)
    for site_id in sites:
        require(by=by, act="print_labels", site_id=site_id)
    labels: list[Label] = []
    refused: list[Refused] = []
    for row in labels_of(kind, site_ids=sites, ids=chosen):
        checked = row if isinstance(row, Refused) else printable(row, stock)
        if isinstance(checked, Refused):
            refused.append(checked)
        else:
            labels.append(checked)
    return labels, tuple(refused)


def _kind(kind: str) -> LabelKind:
    try:
        return LabelKind(kind)
    except ValueError:
        raise _unknown() from None


def _stock(stock: str) -> Stock:
    try:
        return Stock(stock)
    except ValueError:
        raise _unknown() from None


def _unknown() -> Unreadable:
    return Unreadable(
        "unknown-label",
        _("There is no such kind of label or label stock."),
        _("Choose pack, shelf or unit, and roll-203, roll-300 or a4."),
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


def _tell(labels: Sequence[Label], *, kind: LabelKind, by: Person, at: datetime, stock: Stock) -> None:
    codes = dict(Site.objects.filter(pk__in={label.site_id for label in labels}).values_list("pk", "code"))
    with transaction.atomic():
        for site_id, code in sorted(codes.items()):
            lines = [
                Line(_SUBJECT[kind], label.row_id, "", stock.value)
                for label in labels
                if label.site_id == site_id
            ]
            record(chain=code, verb="label.print", by=by, at=at, lines=lines)
