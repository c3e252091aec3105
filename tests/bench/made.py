"""The demo's site made large: some hundred cases ahead, their stock and sets, and years of history."""

import random
from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta

from django.db.models import Max, Model

from cases.bookings.models import Case, CaseSlot, Construct, Prediction, TheatreList
from cases.forecasts.models import Outcome
from trays.instruments.models import InstrumentSet, Pack, PackLine
from trays.parties.models import Site
from trays.places.models import Place
from trays.stock.models import Unit

DAYS = 28
CASES_ON_A_LIST = 4


def enlarge(site: Site, *, cases: int, today: date) -> None:
    """Book cases like those on the lists until there are so many over four weeks, and stock up for them."""
    lots = random.Random(1)
    like = _booked(site, today)
    lists = _free_lists(site, today)
    more = max(0, cases - len(like))
    new = [(lots.choice(like), number) for number in range(more)]
    blocks = [new[at : at + CASES_ON_A_LIST] for at in range(0, more, CASES_ON_A_LIST)]
    for block, where in zip(blocks, lists, strict=False):
        _book([one for one, _ in block], where, f"N{block[0][1]:05d}", lots)
    _stock_up(site, times=cases // max(1, len(like)))


def grow_old(site: Site, *, today: date, years: int, cases_a_year: int = 1_000) -> None:
    """Years of cases that are done, with their predictions and outcomes, and of units that are used."""
    lots = random.Random(2)
    like = _booked(site, today)[:20]
    theatre = Place.objects.filter(site=site, kind=Place.Kind.THEATRE).order_by("pk").first()
    units = list(Unit.objects.filter(site=site).select_related("component").order_by("pk")[:400])
    count = years * cases_a_year
    days = [today - timedelta(days=1 + number * years * 365 // count) for number in range(count)]
    lists = {
        day: TheatreList(site=site, theatre=theatre, day=day, session="evening")
        for day in dict.fromkeys(days)
    }
    TheatreList.objects.bulk_create(lists.values())
    old = [lots.choice(like) for _ in range(count)]
    cases = Case.objects.bulk_create(
        [
            Case(
                site=site, reference=f"H{number:06d}", list=lists[day], position=number, plan=one.plan,
                procedure=one.procedure, surgeon=one.surgeon, minutes=one.minutes, status="closed",
                starts_at=datetime.combine(day, one.starts_at.timetz()), booked_at=one.booked_at,
                booked_by=one.booked_by,
            )
            for number, (one, day) in enumerate(zip(old, days, strict=True))
        ]
    )  # fmt: skip
    first = [one.constructs.all()[0] for one in old]
    constructs = Construct.objects.bulk_create(
        [Construct(case=case, number=1, side=one.side) for case, one in zip(cases, first, strict=True)]
    )
    pairs = [(new, slot) for new, one in zip(constructs, first, strict=True) for slot in one.slots.all()]
    slots = CaseSlot.objects.bulk_create(
        [
            CaseSlot(construct=new, plan_slot=slot.plan_slot, family=slot.family, occurrence=slot.occurrence)
            for new, slot in pairs
        ]
    )
    Prediction.objects.bulk_create(
        [
            Prediction(slot=slot, method="xray_template", made_at=like[0].booked_at, low_rank=2, high_rank=3)
            for slot in slots
        ]
    )
    chosen = lots.choices(units, k=len(slots))
    Outcome.objects.bulk_create(
        [
            Outcome(
                site=site, reference=f"H{slot.pk}", slot=slot.plan_slot.code, component=unit.component,
                used_on=days[number * count // len(slots)], method="xray_template",
                predicted_rank=min(unit.component.size_rank + lots.choice((0, 0, 1)), 9),
            )
            for number, (slot, unit) in enumerate(zip(slots, chosen, strict=True))
        ]
    )  # fmt: skip
    _copies(chosen, state="implanted", lot="H")


def _booked(site: Site, today: date) -> list[Case]:
    rows = Case.objects.filter(site=site, status="booked", list__day__gte=today).order_by("pk")
    return list(
        rows.select_related("list").prefetch_related(
            "constructs__slots__predictions", "constructs__slots__plan_slot"
        )
    )


def _free_lists(site: Site, today: date) -> Iterator[TheatreList]:
    taken = set(TheatreList.objects.filter(site=site).values_list("theatre", "day", "session"))
    theatres = list(Place.objects.filter(site=site, kind=Place.Kind.THEATRE).order_by("pk"))
    for session in ("evening", "afternoon", "morning", "all_day"):
        for number in range(DAYS):
            day = today + timedelta(days=number)
            for theatre in theatres:
                if (theatre.pk, day, session) not in taken:
                    yield TheatreList(site=site, theatre=theatre, day=day, session=session)


def _book(like: list[Case], where: TheatreList, code: str, lots: random.Random) -> None:
    where.save()
    for position, old in enumerate(like, start=1):
        constructs = list(old.constructs.all())
        start = datetime.combine(where.day, old.starts_at.timetz()) + timedelta(minutes=100 * position)
        case = Case(
            site=old.site, reference=f"{code}-{position}", list=where, position=position, plan=old.plan,
            procedure=old.procedure, surgeon=old.surgeon, starts_at=start, minutes=old.minutes,
            booked_at=old.booked_at, booked_by=old.booked_by,
        )  # fmt: skip
        case.save()
        for construct in constructs:
            new = Construct.objects.create(case=case, number=construct.number, side=construct.side)
            for slot in construct.slots.all():
                made = CaseSlot.objects.create(
                    construct=new, plan_slot=slot.plan_slot, family=slot.family, occurrence=slot.occurrence
                )
                _foretell(made, list(slot.predictions.all()), lots.choice((-1, 0, 0, 1)))


def _foretell(slot: CaseSlot, rows: Iterable[Prediction], shift: int) -> None:
    top = slot.family.components.aggregate(top=Max("size_rank"))["top"]
    for row in rows:
        low, high = (min(top, max(0, rank + shift)) for rank in (row.low_rank, row.high_rank))
        Prediction.objects.create(
            slot=slot, method=row.method, planner=row.planner, made_at=row.made_at, low_rank=low,
            high_rank=high, confidence=row.confidence,
        )  # fmt: skip


def _stock_up(site: Site, *, times: int) -> None:
    units = list(Unit.objects.filter(site=site, state__in=Unit.ON_HAND))
    for number in range(1, times):
        _copies(units, lot=f"M{number}")
        for old in InstrumentSet.objects.filter(site=site).exclude(code__startswith="M-"):
            packs = list(Pack.objects.filter(set=old))
            old.pk, old.code, old.grai = None, f"M-{number}-{old.code}"[:40], None
            old.save()
            for pack in packs:
                lines = list(PackLine.objects.filter(pack=pack))
                pack.pk, pack.set, pack.giai = None, old, None
                pack.number = f"M{number}{pack.number}"[:20]
                pack.save()
                for line in lines:
                    line.pk, line.pack = None, pack
                PackLine.objects.bulk_create(lines)


def _copies(rows: Iterable[Model], **changes: object) -> None:
    """Copies of units with other values, as rows of their own."""
    made = []
    for row in rows:
        values = {
            field.attname: getattr(row, field.attname)
            for field in row._meta.concrete_fields
            if not field.primary_key
        }
        made.append(Unit(**{**values, "serial": "", **changes}))
    Unit.objects.bulk_create(made)
