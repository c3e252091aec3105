"""The acts of importing: check a file, apply what was checked, set it aside."""

from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from datetime import date, datetime, timedelta
from typing import BinaryIO

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from cases.desks.imports import BY_CODE
from trays.exchange import staging
from trays.exchange.columns import Setting
from trays.exchange.kinds import Gathered, ImportKind, OutOfDate, SiteFacts
from trays.exchange.models import ImportRun
from trays.exchange.reader import FileRefused, open_sheet
from trays.ledger.append import HOUSE, Line, record
from trays.parties.models import Site
from trays.staff.access import may
from trays.staff.models import Person
from trays.web.errors import NotAllowed, NotThere, Refusal, Unreadable

STUCK = timedelta(hours=1)
"""A file that is being applied for longer than this has lost its worker, and may be set aside."""


def kind_named(code: str) -> type[ImportKind]:
    """The kind of file with this code. Raises NotThere."""
    kind = BY_CODE.get(code)
    if kind is None:
        raise NotThere("no-such-kind", _("There is no such kind of file."), _("Choose one from the list."))
    return kind


def allowed_sites(
    *, by: Person, kind: type[ImportKind], site_ids: Iterable[int] | None = None
) -> frozenset[int] | None:
    """The ids of the sites whose rows the person may import; None for all of them."""
    if by.is_superuser:
        return None
    if kind.house:
        return frozenset()
    sites = Site.objects.values_list("pk", flat=True) if site_ids is None else site_ids
    return frozenset(pk for pk in sites if all(may(by=by, act=act, site_id=pk) for act in kind.acts))


def may_import(*, by: Person, kind: type[ImportKind]) -> bool:
    """Whether the person may import any row of this kind."""
    allowed = allowed_sites(by=by, kind=kind)
    return allowed is None or bool(allowed)


def kinds_for(by: Person) -> list[type[ImportKind]]:
    """The kinds that the person may import, in order of dependency."""
    sites = list(Site.objects.values_list("pk", flat=True))
    allowed = {kind: allowed_sites(by=by, kind=kind, site_ids=sites) for kind in BY_CODE.values()}
    return [kind for kind, ids in allowed.items() if ids is None or ids]


def _require(*, by: Person, kind: type[ImportKind]) -> None:
    if not may_import(by=by, kind=kind):
        raise NotAllowed(
            "not-your-act",
            _("Your role does not include importing this kind of file."),
            _("Hand it to a colleague whose role it is; the system's keeper imports what all sites share."),
        )


def file_look(*, kind: type[ImportKind], file: BinaryIO) -> None:
    """Open the file and read its heads only. Raises Unreadable where it is no table, or too large."""
    try:
        open_sheet(file, limit=settings.IMPORT_LIMIT_BYTES, known=kind.names())
    except FileRefused as refused:
        raise Unreadable(refused.code, refused.sentence, refused.next_step) from refused
    finally:
        file.seek(0)


def import_begin(
    *, kind: type[ImportKind], file: BinaryIO, file_name: str, by: Person, at: datetime
) -> ImportRun:
    """Take a file into staging for a worker to check later (see `import_check_waiting`).

    Raises NotAllowed "not-your-act"; Unreadable with the reader's code.
    """
    _require(by=by, kind=kind)
    file_look(kind=kind, file=file)
    with transaction.atomic():
        run = staging.begin(kind=kind, file_name=file_name, file=file, by=by, at=at)
        staging.keep_parts(run, file)
    return run


def import_check_waiting(*, run: ImportRun, at: datetime) -> ImportRun:
    """Check a file that waits in staging, as the person who handed it in."""
    if run.state != ImportRun.State.CHECKING:
        return run
    kind = _kind_of(run, by=run.by, at=at)
    with staging.take_parts(run) as file:
        staging.check(run, kind, file, limit=settings.IMPORT_LIMIT_BYTES)
    return run


def import_check(
    *,
    kind: type[ImportKind],
    file: BinaryIO,
    file_name: str,
    by: Person,
    at: datetime,
    base_day: date | None = None,
    progress: staging.Progress | None = None,
) -> ImportRun:
    """Check a file at once: its rows go into staging, its faults are kept with the run; nothing else changes.

    `base_day` allows relative days in the file. Raises NotAllowed "not-your-act"; Unreadable with the
    reader's code where the file is no table at all.
    """
    _require(by=by, kind=kind)
    file_look(kind=kind, file=file)
    run = staging.begin(kind=kind, file_name=file_name, file=file, by=by, at=at)
    checker = _kind_of(run, by=by, at=at, base_day=base_day)
    staging.check(run, checker, file, limit=settings.IMPORT_LIMIT_BYTES, progress=progress)
    return run


def import_apply(*, run: ImportRun, by: Person, at: datetime) -> Counter[str]:
    """Write what was checked, all of it or none, with one event for each chain; how many of what was made.

    Raises NotAllowed; Refusal "import-faulty", "import-applied-already", "import-not-checked",
    "import-set-aside", "import-out-of-date", and what the acts behind the rows refuse.
    """
    moved = _applied(run=run, by=by, at=at)
    run.refresh_from_db()
    return moved.counts()


def import_try(*, run: ImportRun, by: Person, at: datetime) -> Counter[str]:
    """A dry run: apply what was checked, take all of it back, and say how many of what it would make.

    Raises as `import_apply`; nothing is saved, whatever happens.
    """
    try:
        with transaction.atomic():
            moved = _applied(run=run, by=by, at=at)
            raise _TakenBack(moved.counts())
    except _TakenBack as back:
        run.refresh_from_db()
        return back.counts


class _TakenBack(Exception):
    """Takes a dry run's transaction back."""

    def __init__(self, counts: Counter[str]) -> None:
        super().__init__()
        self.counts = counts


def _applied(*, run: ImportRun, by: Person, at: datetime) -> Gathered:
    kind = kind_named(run.kind)
    _require(by=by, kind=kind)
    try:
        with transaction.atomic():
            locked = _locked(run)
            _refuse_state(locked)
            _refuse_same_since(locked)
            applier = _kind_of(locked, by=by, at=at)
            _refuse_sites(applier, locked)
            moved = staging.apply(locked, applier, by=by, at=at)
            _record(moved, kind=kind, by=by, at=at)
    except (IntegrityError, OutOfDate) as error:
        raise Refusal(
            "import-out-of-date",
            _("Something that this file relies on has changed since it was checked."),
            _("Hand the file in again, so that it is checked against what is on file now."),
        ) from error
    return moved


def import_apply_later(*, run: ImportRun, by: Person, at: datetime) -> ImportRun:
    """Leave a checked file to the worker, who applies it (see `import_apply_waiting`).

    Raises NotAllowed; Refusal as `import_apply` where it cannot be applied.
    """
    _require(by=by, kind=kind_named(run.kind))
    with transaction.atomic():
        locked = _locked(run)
        _refuse_state(locked)
        locked.state, locked.note = ImportRun.State.APPLYING, ""
        locked.save(update_fields=["state", "note"])
    return locked


def import_apply_waiting(*, run: ImportRun, by: Person, at: datetime) -> ImportRun:
    """Apply a file that was left to the worker; if that is refused it is checked again, with why as note."""
    if run.state != ImportRun.State.APPLYING:
        return run
    run.state = ImportRun.State.CHECKED
    try:
        with transaction.atomic():
            run.save(update_fields=["state"])
            import_apply(run=run, by=by, at=at)
    except Refusal as refusal:
        run.note = f"{refusal.sentence} {refusal.next_step}"
        run.state = ImportRun.State.CHECKED
        run.save(update_fields=["state", "note"])
    return run


def import_set_aside(*, run: ImportRun, by: Person, at: datetime) -> ImportRun:
    """Give up a run that was not applied; its rows leave the staging.

    Raises NotAllowed; Refusal "import-applied-already".
    """
    _require(by=by, kind=kind_named(run.kind))
    with transaction.atomic():
        locked = ImportRun.objects.select_for_update().get(pk=run.pk)
        if locked.state == ImportRun.State.APPLIED:
            raise _applied_already()
        if locked.state == ImportRun.State.APPLYING and at - locked.at < STUCK:
            raise _being_applied()
        locked.rows.all().delete()
        locked.state = ImportRun.State.SET_ASIDE
        locked.save(update_fields=["state"])
    return locked


def _kind_of(run: ImportRun, *, by: Person, at: datetime, base_day: date | None = None) -> ImportKind:
    kind = kind_named(run.kind)
    sites = {site.code: SiteFacts(site.pk, site.code, site.zone) for site in Site.objects.all()}
    allowed = allowed_sites(by=by, kind=kind)
    return kind(setting=Setting(base_day), sites=sites, allowed=allowed, at=at)


def _locked(run: ImportRun) -> ImportRun:
    """The run under lock, and with it all others of its kind that could be applied: one is at a time."""
    ready = Q(kind=run.kind, state=ImportRun.State.CHECKED)
    rows = ImportRun.objects.select_for_update().filter(Q(pk=run.pk) | ready).order_by("pk")
    return next(row for row in list(rows) if row.pk == run.pk)


def _refuse_same_since(run: ImportRun) -> None:
    """The same file may be applied again on purpose, but not by somebody who could not see that it was."""
    same = ImportRun.objects.filter(kind=run.kind, digest=run.digest, state=ImportRun.State.APPLIED)
    if run.digest and same.filter(applied_at__gte=run.at).exclude(pk=run.pk).exists():
        raise OutOfDate


def _refuse_sites(kind: ImportKind, run: ImportRun) -> None:
    """The one who applies may be another than the one who checked."""
    if kind.allowed is None:
        return
    if any(kind.site_of(values) not in kind.allowed for chunk in staging.staged(run) for values in chunk):
        raise NotAllowed(
            "not-your-act",
            _("The file holds rows of a site where your role does not include this."),
            _("Hand it to a colleague of that site."),
        )


def _being_applied() -> Refusal:
    return Refusal(
        "import-being-applied",
        _("This file is being applied at this moment."),
        _("Wait until that has ended; the page says so."),
    )


def _applied_already() -> Refusal:
    return Refusal(
        "import-applied-already",
        _("This file has been applied already."),
        _("Look at what it made; hand in a new file for more."),
    )


def _refuse_state(run: ImportRun) -> None:
    state = ImportRun.State
    if run.state == state.APPLIED:
        raise _applied_already()
    if run.state == state.FAULTY:
        raise Refusal(
            "import-faulty",
            _("This file has faults, so nothing of it is applied."),
            _("Mend the file by the list of faults, and hand it in again."),
        )
    if run.state == state.SET_ASIDE:
        raise Refusal("import-set-aside", _("This file was set aside."), _("Hand it in again."))
    if run.state == state.APPLYING:
        raise _being_applied()
    if run.state != state.CHECKED:
        raise Refusal(
            "import-not-checked", _("This file is still being checked."), _("Wait until the check has ended.")
        )


class _Lines(Collection[Line]):
    """The lines of one site, made anew each time they are walked."""

    def __init__(self, moved: Gathered, site_id: int | None) -> None:
        self._moved, self._site_id = moved, site_id
        self._count = sum(1 for _line in moved.lines(site_id))

    def __len__(self) -> int:
        return self._count

    def __contains__(self, line: object) -> bool:
        return any(one == line for one in self)

    def __iter__(self) -> Iterator[Line]:
        for one in self._moved.lines(self._site_id):
            yield Line(one.subject, one.subject_id, one.before, one.after, one.quantity)


def _record(moved: Gathered, *, kind: type[ImportKind], by: Person, at: datetime) -> None:
    codes = dict(Site.objects.values_list("pk", "code"))
    chains = {HOUSE if site is None else codes[site]: site for site in moved.sites}
    # Always in the same order, so that two imports never wait for each other's chains.
    for chain in sorted(chains):
        lines = _Lines(moved, chains[chain])
        record(chain=chain, verb=f"import.{kind.code}", by=by, at=at, lines=lines)
