"""The demo's world: loaded once through the imports, then topped up so that a fortnight lies ahead."""

import csv
import io
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.db import transaction

from cases.bookings.models import Case, TheatreList
from cases.desks.demo_goods import goods_act
from cases.desks.demo_loans import loans_act
from cases.desks.demo_orders import orders_act
from cases.desks.demo_round import PIN, pins_give, round_act
from cases.desks.folder import FileFault, Tell, folder_import
from cases.desks.importing import import_apply, import_check, kind_named
from trays.exchange.columns import workday
from trays.exchange.models import ImportRun
from trays.staff.models import Person, Role

FOLDER: Path = settings.BASE_DIR / "fixtures" / "demo"
ZONE = ZoneInfo("Europe/London")
DAYS = 14
# Working days after which the pattern of the files begins again.
PATTERN = 10
KEEPER = "keeper"

_WORKDAY = re.compile(r"workday (\d+)(.*)")

Lines = list[dict[str, str]]


class DemoBroken(Exception):
    """The demo's own files have faults."""

    def __init__(self, faults: list[FileFault]) -> None:
        super().__init__(f"{len(faults)} faults in the demo's files")
        self.faults = faults


@dataclass(frozen=True, slots=True)
class SignIn:
    """One role of the demo and who signs in with it."""

    role: str
    name: str
    username: str


def world_ready(*, at: datetime, tell: Tell | None = None) -> str:
    """Load the world on the first start, top up the lists on later ones; which was done, if any."""
    first = ImportRun.objects.filter(kind="cases", state=ImportRun.State.APPLIED).order_by("pk").first()
    keeper, _made = Person.objects.get_or_create(
        username=KEEPER, defaults={"name": "K. Keeper", "is_superuser": True, "password": make_password(None)}
    )
    if first is None:
        today = at.astimezone(ZONE).date()
        world_load(by=keeper, base_day=today, tell=tell)
        round_act(base_day=today, at=at)
        orders_act(base_day=today, pin=PIN)
        loans_act(base_day=today)
        goods_act(base_day=today)
        return "loaded"
    return "topped up" if lists_top_up(by=keeper, base_day=_base_day(first), at=at) else ""


def _booked_at(base_day: date) -> datetime:
    """The world was put in on the afternoon before its first day: no case of that day is a late entry."""
    return datetime(base_day.year, base_day.month, base_day.day, 16, 0, tzinfo=ZONE) - timedelta(days=1)


def _base_day(first: ImportRun) -> date:
    return first.at.astimezone(ZONE).date() + timedelta(days=1)


def world_load(*, by: Person, base_day: date, tell: Tell | None = None) -> None:
    """Import the demo's files with their days counted from the base day. Raises DemoBroken."""
    answer = folder_import(folder=FOLDER, by=by, at=_booked_at(base_day), base_day=base_day, tell=tell)
    if answer.faults:
        raise DemoBroken(answer.faults)


def lists_top_up(*, by: Person, base_day: date, at: datetime) -> int:
    """Import lists and cases for the working days of the next fortnight that have none; how many cases.

    The pattern of the files goes round: each round gives the cases new references, by which a case that is
    there already is known.
    """
    today = at.astimezone(ZONE).date()
    ahead = _ahead(base_day, today)
    lists = _lines("lists", ahead, base_day)
    cases = _lines("cases", ahead, base_day)
    known_lists = {
        (site, theatre, day.isoformat())
        for site, theatre, day in TheatreList.objects.values_list("site__code", "theatre__code", "day")
    }
    known_cases = set(Case.objects.values_list("site__code", "reference"))
    lists = [one for one in lists if (one["site"], one["theatre"], one["day"]) not in known_lists]
    cases = [one for one in cases if (one["site"], one["reference"]) not in known_cases]
    with transaction.atomic():
        for kind, lines in (("lists", lists), ("cases", cases)):
            if lines:
                _import(kind, lines, by=by, at=at)
    return len(cases)


def _ahead(base_day: date, today: date) -> list[int]:
    """The working days of the fortnight from today on, counted from the base day; not those of the files."""
    first = workday(base_day, 0)
    found = []
    count = 0
    day = first
    while day < today + timedelta(days=DAYS):
        if day >= today and count >= PATTERN:
            found.append(count)
        count += 1
        day = workday(base_day, count)
    return found


def _lines(kind: str, ahead: list[int], base_day: date) -> Lines:
    """The file's lines of the pattern's days, set on the days ahead."""
    path = next(FOLDER.glob(f"*-{kind}.csv"))
    with path.open(encoding="utf-8", newline="") as file:
        pattern = list(csv.DictReader(file))
    found = []
    for count in ahead:
        for line in pattern:
            of_day = _WORKDAY.fullmatch(line["day"])
            if of_day and int(of_day[1]) == count % PATTERN:
                found.append(_set_on(line, count, base_day))
    return found


def _set_on(line: dict[str, str], count: int, base_day: date) -> dict[str, str]:
    day = workday(base_day, count).isoformat()
    changed = {"day": day}
    if "start" in line:
        changed["start"] = _WORKDAY.sub(rf"{day}\2", line["start"])
    if "reference" in line:
        site, number = line["reference"].split("-")
        changed["reference"] = f"{site}-{count // PATTERN}{number}"
    return {**line, **changed}


def _import(kind: str, lines: Lines, *, by: Person, at: datetime) -> None:
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=list(lines[0]))
    writer.writeheader()
    writer.writerows(lines)
    file = io.BytesIO(text.getvalue().encode())
    name = f"{kind}.csv"
    run = import_check(kind=kind_named(kind), file=file, file_name=name, by=by, at=at)
    if run.state != ImportRun.State.CHECKED:
        raise DemoBroken(
            [FileFault(name, one.number, one.column, one.sentence, one.next_step) for one in run.faults.all()]
        )
    import_apply(run=run, by=by, at=at)


def sign_ins(password: Callable[[], str]) -> list[SignIn]:
    """One sign-in for each role, all with the demo's password; people are given it if they have another, and
    the demo's PIN if they have none.
    """
    pins_give()
    keeper = Person.objects.get(username=KEEPER)
    given = password()
    if not keeper.check_password(given):
        # One hash for all: the demo's password is one and is shown on the screen.
        Person.objects.update(password=make_password(given))
    found = []
    for role, label in Role.Kind.choices:
        person = Person.objects.filter(roles__kind=role).order_by("pk").first()
        if person is not None:
            found.append(SignIn(str(label), person.name, person.username))
    return [*found, SignIn("Keeper of the system", keeper.name, keeper.username)]
