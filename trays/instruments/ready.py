"""When a pack, and a set, is ready: the one definition, for pages, plans and pick lists alike.

A pack is ready on a day when it is released, stored or issued, in date on that day (the date itself
included; a pack without a date keeps until it is opened or damaged), at its set's site, and none of its
critical contents lines lacks anything. A critical line nobody has counted in counts as lacking. Other
shortages are printed and acknowledged; they do not stop it. A set is ready when every tray of its
contents list has its pack and all its packs are ready.
"""

from dataclasses import dataclass, field
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from trays.instruments.models import PackState
from trays.web.wording import sitetime

READY_STATES = (PackState.RELEASED, PackState.STORED, PackState.ISSUED)


@dataclass(frozen=True, slots=True)
class Lack:
    """A contents line of which a pack holds too few."""

    number: int
    name: str
    missing: int
    critical: bool


@dataclass(frozen=True, slots=True)
class PackFacts:
    """What decides whether one pack is ready. `elsewhere` names the site it is at, "" when at its own."""

    pk: int
    number: str
    tray: int
    state: str
    sterile_until: date | None
    place_id: int
    place: str
    lacks: tuple[Lack, ...] = ()
    elsewhere: str = ""
    bin: str = ""

    @property
    def lacks_critical(self) -> tuple[Lack, ...]:
        return tuple(lack for lack in self.lacks if lack.critical)

    def ready_on(self, day: date) -> bool:
        """Whether the pack is ready for use on that day."""
        return (
            self.state in READY_STATES
            and (self.sterile_until is None or self.sterile_until >= day)
            and not self.lacks_critical
            and not self.elsewhere
        )

    def why_not(self, day: date) -> str:
        """The first reason in words, "" when ready: "is cleaned", "out of date since 4 Dec", …"""
        if self.state not in READY_STATES:
            return _("%(pack)s is %(state)s") % {"pack": self.number, "state": state_word(self.state)}
        if self.elsewhere:
            return _("%(pack)s is at %(site)s") % {"pack": self.number, "site": self.elsewhere}
        if self.sterile_until is not None and self.sterile_until < day:
            return _("%(pack)s was in date until %(day)s") % {
                "pack": self.number,
                "day": sitetime(self.sterile_until, "day"),
            }
        if self.lacks_critical:
            lack = self.lacks_critical[0]
            return ngettext(
                "%(pack)s lacks %(count)s %(name)s, critical",
                "%(pack)s lacks %(count)s of %(name)s, critical",
                lack.missing,
            ) % {"pack": self.number, "count": lack.missing, "name": lack.name}
        return ""


@dataclass(frozen=True, slots=True)
class SetFacts:
    """One physical set with its packs, and the trays of its contents list that have none."""

    pk: int
    code: str
    design_id: int
    design: str
    design_code: str
    version: int
    site_id: int
    tenure: str
    packs: tuple[PackFacts, ...]
    missing_trays: tuple[int, ...] = ()
    serves: tuple[str, ...] = field(default=())

    def ready_on(self, day: date) -> bool:
        """Whether the whole set is ready for use on that day."""
        return bool(self.packs) and not self.missing_trays and all(pack.ready_on(day) for pack in self.packs)

    def why_not(self, day: date) -> tuple[str, ...]:
        """Every reason in words; empty when the set is ready."""
        if not self.packs:
            return (_("no pack is on file"),)
        trays = tuple(_("tray %(number)s has no pack") % {"number": tray} for tray in self.missing_trays)
        return trays + tuple(why for pack in self.packs if (why := pack.why_not(day)))

    @property
    def sterile_until(self) -> date | None:
        """The earliest date of its packs, None when none has one."""
        return min((pack.sterile_until for pack in self.packs if pack.sterile_until), default=None)

    @property
    def shortages(self) -> int:
        """How many pieces its packs lack, critical or not."""
        return sum(lack.missing for pack in self.packs for lack in pack.lacks)


def state_word(state: str) -> str:
    """A pack's state within a sentence."""
    words = {
        PackState.USED: _("used, not yet back in sterile services"),
        PackState.RECEIVED: _("received, to be cleaned"),
        PackState.CLEANED: _("cleaned, to be assembled"),
        PackState.ASSEMBLED: _("assembled, to be packed"),
        PackState.PACKED: _("packed, to be sterilized"),
        PackState.IN_LOAD: _("in a load, not yet released"),
        PackState.QUARANTINED: _("in quarantine"),
        PackState.RELEASED: _("released"),
        PackState.STORED: _("stored"),
        PackState.ISSUED: _("issued"),
        PackState.OPENED: _("opened"),
        PackState.REPAIR: _("in repair"),
        PackState.LENT: _("lent out"),
        PackState.SENT_BACK: _("sent back to its supplier"),
        PackState.CONDEMNED: _("condemned"),
        PackState.LOST: _("lost"),
    }
    return words[PackState(state)]
