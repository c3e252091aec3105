"""Setting up workstations."""

from dataclasses import asdict, dataclass
from datetime import datetime

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from trays.ledger.append import Line, record
from trays.parties.models import Site
from trays.places.models import Place
from trays.scanners import keys
from trays.scanners.models import Tones, Workstation
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal, Unreadable


@dataclass(frozen=True, slots=True)
class Settings:
    """How a workstation's scanner sends a code, as in the model of the same fields."""

    separator: str = ""
    sends_separators: bool = False
    prefix: str = ""
    suffix: str = ""
    slower: int = 1
    by_position: bool = False
    tones: str = Tones.BY_PLACE


def workstation_set_up(
    *,
    by: Person,
    site: Site,
    name: str,
    place: Place | None,
    settings: Settings,
    workstation: Workstation | None = None,
    at: datetime,
) -> Workstation:
    """Add a workstation to a site, or change one, with one event in the site's record.

    Refuses: "not-your-act", "place-elsewhere", "name-taken", and for settings "separator-unfit",
    "prefix-unfit", "suffix-unfit", "slower-unfit".
    """
    require(by=by, act="set_up_scanners", site_id=site.pk)
    _check(settings)
    if place is not None and place.site_id != site.pk:
        raise Unreadable(
            "place-elsewhere",
            _("%(place)s is at another site.") % {"place": place.name},
            _("Choose a place of %(site)s.") % {"site": site.name},
        )
    row = workstation or Workstation(site=site)
    if row.site_id != site.pk:
        raise Unreadable(
            "place-elsewhere",
            _("This workstation is at another site."),
            _("Add one for %(site)s.") % {"site": site.name},
        )
    row.name, row.place = name, place
    for field, value in asdict(settings).items():
        setattr(row, field, value)
    try:
        with transaction.atomic():
            row.save()
            record(
                chain=site.code,
                verb="workstation.set-up",
                by=by,
                at=at,
                place_id=row.place_id,
                lines=[Line("workstation", row.pk)],
            )
    except IntegrityError as clash:
        raise Refusal(
            "name-taken",
            _("There is a workstation called %(name)s at this site already.") % {"name": name},
            _("Choose it from the list, or give another name."),
        ) from clash
    return row


def settings_of(workstation: Workstation) -> Settings:
    """The settings of a row, to change some of them."""
    return Settings(**{field: getattr(workstation, field) for field in Settings.__dataclass_fields__})


def _check(settings: Settings) -> None:
    if not keys.fits_separator(settings.separator):
        raise Unreadable(
            "separator-unfit",
            _("%(text)s cannot stand for the separator.") % {"text": settings.separator},
            _("Give one to five signs; the first may be no letter, digit, blank, plus or bracket."),
        )
    for code, text, fits in (
        ("prefix-unfit", settings.prefix, keys.fits_prefix),
        ("suffix-unfit", settings.suffix, keys.fits_suffix),
    ):
        if not fits(text):
            raise Unreadable(
                code,
                _("%(text)s cannot begin or end a scan.") % {"text": text},
                _("Give one sign such as ~ (no letter or digit), or a key: F2, F3, F4, F6, F7, F9 to F12."),
            )
    if not 1 <= settings.slower <= keys.SLOWEST:
        raise Unreadable(
            "slower-unfit",
            _("A scanner is 1 to %(most)s times as slow as usual.") % {"most": keys.SLOWEST},
            _("Give a whole number in between."),
        )
