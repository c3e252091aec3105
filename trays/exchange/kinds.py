"""What an import kind is: its columns, how one row is checked, and how checked rows are applied.

A kind is made once per run. `prepare` reads what rows refer to, once; `check` judges one row without
touching the database; `apply` writes all rows and says what moved, inside the caller's transaction.
"""

from array import array
from collections import Counter
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from hashlib import blake2b
from typing import Any, ClassVar, NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import Model
from django.utils.functional import Promise
from django.utils.translation import gettext as _

from trays.exchange.columns import Column, Setting, Unfit, shown
from trays.exchange.reader import RawRow, clean, control_sign

BATCH = 1_000


class Moved(NamedTuple):
    """One subject that an applied row made: as a line of the record."""

    subject: str
    subject_id: int
    after: str = ""
    quantity: int = 0
    before: str = ""


# What moved, by the id of the site whose chain records it; None for the house's.
Moves = dict[int | None, list[Moved]]


class OutOfDate(Exception):
    """What was checked no longer holds now that it is to be applied."""


class FaultSaid(NamedTuple):
    """What is wrong in one cell and what to do about it. Column "" means the whole row."""

    column: str
    sentence: str
    next_step: str


@dataclass(frozen=True, slots=True)
class Taken:
    """What came of one row: values to stage under a key ("" where rows may repeat), or faults."""

    number: int
    values: dict[str, Any] | None
    key: str
    faults: list[FaultSaid]


@dataclass(frozen=True, slots=True)
class SiteFacts:
    """What a row needs to know of its site."""

    id: int
    code: str
    zone: str


@dataclass
class Row:
    """One row under check: its typed values, and the faults said so far."""

    number: int
    values: dict[str, Any] = field(default_factory=dict)
    faults: list[FaultSaid] = field(default_factory=list)

    def __getitem__(self, column: str) -> Any:
        return self.values[column]

    def fault(self, column: str, sentence: str, next_step: str) -> None:
        self.faults.append(FaultSaid(column, sentence, next_step))

    def find(self, column: str, table: Mapping[Any, Any], *, key: Hashable = None, what: str = "") -> Any:
        """What the cell's code stands for; None for an empty cell and, with a fault said, an unknown one."""
        text = self.values[column]
        if text in (None, ""):
            return None
        found = table.get(text if key is None else key)
        if found is None:
            self.fault(
                column,
                _("“%(code)s” is not on file%(where)s.") % {"code": shown(str(text)), "where": what},
                _("Import it first, or correct the code."),
            )
        return found


class ImportKind:
    """The base of every kind of file. Subclasses live in `importing.py` of the room that owns the rows."""

    code: ClassVar[str]
    title: ClassVar[str | Promise]
    about: ClassVar[str | Promise] = ""
    columns: ClassVar[tuple[Column, ...]]
    # Rows of the house as a whole; only the system's keeper imports them.
    house: ClassVar[bool] = True
    # Where a fault of the whole key is told; "" for the first column.
    key_column: ClassVar[str] = ""
    # What the person must be allowed at each row's site.
    acts: ClassVar[tuple[str, ...]] = ("import_files",)

    # Whether rows can be applied chunk by chunk, so that a long file needs no more memory than a short one.
    in_chunks: ClassVar[bool] = False

    # Templates are given kinds as classes, to be read, not made.
    do_not_call_in_templates: ClassVar[bool] = True

    def __init__(
        self,
        *,
        setting: Setting,
        sites: Mapping[str, SiteFacts] | None = None,
        allowed: frozenset[int] | None = None,
        at: datetime,
    ) -> None:
        self.setting = setting
        self.sites = dict(sites or {})
        self.allowed = allowed
        self.at = at
        self.known: set[Hashable] = set()

    @classmethod
    def names(cls) -> list[str]:
        return [column.name for column in cls.columns]

    @classmethod
    def required(cls) -> list[str]:
        return [column.name for column in cls.columns if column.required]

    def prepare(self) -> None:
        """Read what the rows refer to, and `known`: the keys that are on file."""

    def check(self, row: Row) -> dict[str, Any] | None:
        """The values to stage, as plain JSON; None where a fault was said on the row."""
        raise NotImplementedError

    def key(self, values: dict[str, Any]) -> Hashable | None:
        """What may stand once in a file and on file; None if rows may repeat."""
        return None

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        """Write the rows (all of them, or with `in_chunks` some) inside the caller's transaction.

        Raises OutOfDate.
        """
        raise NotImplementedError

    def refuse_changed(self, rows: Iterable[dict[str, Any]]) -> None:
        """Asked once, before anything is applied, with all rows to be walked once. Raises OutOfDate."""

    def site_of(self, values: dict[str, Any]) -> int | None:
        """The id of the row's site; None for rows of the house."""
        found = values.get("site_id", values.get("_site"))
        return None if found is None else int(found)

    # ------------------------------------------------------------ helpers for `check`

    def site(self, row: Row, column: str = "site") -> SiteFacts | None:
        """The row's site, if it is on file and the person may import there."""
        found: SiteFacts | None = row.find(column, self.sites)
        if found is not None:
            self.site_allowed(row, found.id, column)
        return found

    def site_allowed(self, row: Row, site_id: int, column: str = "") -> None:
        """Say a fault where the person may not import at this site."""
        if self.allowed is not None and site_id not in self.allowed:
            row.fault(
                column,
                _("Your role does not include importing this at that site."),
                _("Take the row out, or hand the file to a colleague of that site."),
            )

    def moment(self, local: datetime | None, zone: str) -> datetime | None:
        """A moment of the site's clock as an aware one."""
        return None if local is None else local.replace(tzinfo=ZoneInfo(zone))

    def today(self, zone: str) -> date:
        return self.at.astimezone(ZoneInfo(zone)).date()

    # ------------------------------------------------------------ one row, from text to staged values

    def take(self, raw: RawRow, places: Mapping[str, int]) -> "Taken":
        """Parse and check one row: its staged values, or its faults (all of its cells').

        Whether the same stands in another row of the file is not asked here: that is the staging's.
        """
        row = Row(raw.number)
        for column in self.columns:
            place = places.get(column.name)
            text = raw.cells[place] if place is not None and place < len(raw.cells) else ""
            self._read_cell(row, column, text)
        self._beyond_heads(row, raw, places)
        if row.faults:
            return Taken(raw.number, None, "", row.faults)
        values = self.check(row)
        if row.faults or values is None:
            return Taken(raw.number, None, "", row.faults)
        key = self._new(row, values)
        if row.faults:
            return Taken(raw.number, None, "", row.faults)
        return Taken(raw.number, plain(values), key, [])

    def _read_cell(self, row: Row, column: Column, text: str) -> None:
        if sign := control_sign(text):
            row.fault(
                column.name,
                _("This cell holds a sign that cannot be seen or printed (%(sign)s).") % {"sign": sign},
                _("Delete the cell's content and type it again."),
            )
            return
        try:
            row.values[column.name] = column.read(clean(text), self.setting)
        except Unfit as unfit:
            row.fault(column.name, unfit.sentence, unfit.next_step)

    def _beyond_heads(self, row: Row, raw: RawRow, places: Mapping[str, int]) -> None:
        """Cells to the right of the last head have shifted: a separator inside a text, most likely."""
        width = max(places.values(), default=-1) + 1
        if any(cell.strip() for cell in raw.cells[width:]):
            row.fault(
                "",
                _("This row has more cells than there are heads."),
                _("Put texts that hold the separator into quotation marks, or use XLSX."),
            )

    def _new(self, row: Row, values: dict[str, Any]) -> str:
        """A digest of what may stand once, "" if rows may repeat; a fault where it is on file."""
        key = self.key(values)
        if key is None:
            return ""
        if key in self.known:
            row.fault(
                self.key_column or self.columns[0].name,
                _("This is on file already."),
                _("Take the row out; an import adds, it changes nothing."),
            )
        return blake2b(repr(key).encode(), digest_size=16).hexdigest()

    def said_twice(self, earlier: int) -> FaultSaid:
        """The fault of a row whose key stands in an earlier one."""
        return FaultSaid(
            self.key_column or self.columns[0].name,
            _("The same stands in row %(row)s already.") % {"row": earlier},
            _("Take one of the two rows out."),
        )


class ModelKind(ImportKind):
    """A kind whose rows each become one row of one model."""

    in_chunks = True
    model: ClassVar[type[Model]]
    subject: ClassVar[str]

    def __init_subclass__(cls, **kwargs: Any) -> None:
        super().__init_subclass__(**kwargs)
        # One that applies in a way of its own may need all rows at once, unless it says otherwise.
        if "apply" in cls.__dict__ and "in_chunks" not in cls.__dict__:
            cls.in_chunks = False

    def make(self, values: dict[str, Any], *, by: Any, at: datetime) -> Any:
        return self.model(**{name: value for name, value in values.items() if name[0] != "_"})

    def moved(self, made: Any, values: dict[str, Any]) -> Moved:
        return Moved(self.subject, made.pk)

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        manager = self.model._default_manager
        made = manager.bulk_create([self.make(values, by=by, at=at) for values in rows], batch_size=BATCH)
        return moves(
            (self.site_of(values), self.moved(one, values)) for one, values in zip(made, rows, strict=True)
        )


class Gathered:
    """What moved over all chunks, a few bytes each: ids by site and by all else that a line says."""

    def __init__(self) -> None:
        self._ids: dict[int | None, dict[tuple[str, str, int, str], array[int]]] = {}

    def add(self, found: Moves) -> None:
        for site_id, lines in found.items():
            of_site = self._ids.setdefault(site_id, {})
            for one in lines:
                alike = (one.subject, one.after, one.quantity, one.before)
                of_site.setdefault(alike, array("q")).append(one.subject_id)

    @property
    def sites(self) -> list[int | None]:
        return list(self._ids)

    def lines(self, site_id: int | None) -> Iterator[Moved]:
        """What moved at a site (None: of the house), alike beside alike."""
        for (subject, after, quantity, before), ids in self._ids[site_id].items():
            for subject_id in ids:
                yield Moved(subject, subject_id, after, quantity, before)

    def counts(self) -> Counter[str]:
        """How many of what."""
        found: Counter[str] = Counter()
        for of_site in self._ids.values():
            for (subject, *_rest), ids in of_site.items():
                found[subject] += len(ids)
        return found


def moves(pairs: Iterable[tuple[int | None, Moved]]) -> Moves:
    """What moved, gathered by the chain that records it."""
    gathered: Moves = {}
    for site_id, moved in pairs:
        gathered.setdefault(site_id, []).append(moved)
    return gathered


def plain(value: Any) -> Any:
    """Values as JSON holds them: days and moments in ISO form, amounts as text."""
    if isinstance(value, dict):
        return {name: plain(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [plain(inner) for inner in value]
    if isinstance(value, datetime | date):
        return value.isoformat()
    return str(value) if isinstance(value, Decimal) else value
