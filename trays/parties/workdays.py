"""Working days: Monday to Friday. Bank holidays are not known here, which the help page says."""

from datetime import date, timedelta

DAY = timedelta(days=1)


def is_workday(day: date) -> bool:
    return day.weekday() < 5


def next_workday(day: date) -> date:
    """The day itself if it is a working day, else the one that follows."""
    while not is_workday(day):
        day += DAY
    return day


def last_workday(day: date) -> date:
    """The day itself if it is a working day, else the one before."""
    while not is_workday(day):
        day -= DAY
    return day


def later(day: date, workdays: int) -> date:
    """So many working days after the day; a day at the weekend counts as the Monday that follows."""
    day = next_workday(day)
    for _n in range(workdays):
        day = next_workday(day + DAY)
    return day


def earlier(day: date, workdays: int) -> date:
    """So many working days before the day; a day at the weekend counts as the Friday before."""
    day = last_workday(day)
    for _n in range(workdays):
        day = last_workday(day - DAY)
    return day


def due(ordered: date, lead: int) -> date:
    """When something ordered on that day is here, for a lead time in working days."""
    return later(ordered, lead)


def order_by(wanted: date, lead: int) -> date:
    """The last working day on which to order what must be here the day before `wanted`.

    The day before, because a delivery during the day comes too late for the first case.
    """
    return earlier(wanted - DAY, lead)
