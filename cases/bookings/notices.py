"""What is to be known about a case that was accepted all the same."""

from datetime import timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from cases.bookings.kinds import Notice
from cases.bookings.models import Case
from cases.bookings.queries import overlaps


def late_notice(case: Case) -> tuple[Notice, ...]:
    """That the case was entered after its start."""
    if not case.late_entry:
        return ()
    return (Notice("late-entry", _("Recorded as a late entry: its start had passed when it was entered.")),)


def overlap_notices(case: Case) -> tuple[Notice, ...]:
    """Which cases stand at the same time in the theatre, or with the same surgeon anywhere."""
    theatre_id = case.list.theatre_id
    others = overlaps(
        theatre_id=theatre_id,
        surgeon_id=case.surgeon_id,
        starts_at=case.starts_at,
        minutes=case.minutes,
        but=case.pk,
    )
    zone = ZoneInfo(case.list.site.zone)
    found = []
    for other in others:
        words = {
            "reference": other.reference,
            "theatre": other.list.theatre.name,
            "surgeon": case.surgeon.name if case.surgeon else "",
            "from": f"{other.starts_at.astimezone(zone):%H:%M}",
            "until": f"{(other.starts_at + timedelta(minutes=other.minutes)).astimezone(zone):%H:%M}",
        }
        if other.list.theatre_id == theatre_id:
            sentence = _("Overlaps with case %(reference)s in %(theatre)s, %(from)s to %(until)s.") % words
            found.append(Notice("overlap-theatre", sentence))
        else:
            sentence = (
                _("%(surgeon)s has case %(reference)s in %(theatre)s then, %(from)s to %(until)s.") % words
            )
            found.append(Notice("overlap-surgeon", sentence))
    return tuple(found)
