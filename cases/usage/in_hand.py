"""The box that was scanned and is not opened yet: kept in the person's session, so that the page may be
loaded anew, the side chosen or a name and a reason given, without scanning again.
"""

import base64
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.http import HttpRequest

from cases.bookings.models import Case, Construct
from cases.usage.kinds import Scanned


@dataclass(frozen=True, slots=True)
class Box:
    """What the label said, which construct was chosen for it, and whether it is another one of its lot."""

    scanned: Scanned
    at: datetime
    construct_id: int | None = None
    another: bool = False

    @property
    def same_as(self) -> tuple[bytes, str, str, str]:
        """What tells one label from another."""
        one = self.scanned
        return (one.raw, one.device, one.lot, one.serial)


class InHand:
    """The one box in hand of a person, at one case."""

    def __init__(self, request: HttpRequest, case: Case) -> None:
        self.session, self.case = request.session, case
        self.name = f"box_in_hand_{case.pk}"

    @property
    def box(self) -> Box | None:
        """The box, or None."""
        kept = self.session.get(self.name)
        return _read(kept) if isinstance(kept, dict) else None

    def take(self, scanned: Scanned, at: datetime) -> Box:
        """Another box takes the place of the one before."""
        return self._keep(Box(scanned, at))

    def choose(self, construct_id: int) -> None:
        """The construct it is for."""
        box = self.box
        if box is not None:
            self._keep(replace(box, construct_id=construct_id))

    def is_another(self) -> None:
        """It is another one of its lot, not the same box again."""
        box = self.box
        if box is not None:
            self._keep(replace(box, another=True))

    def drop(self) -> None:
        """Nothing is in hand."""
        self.session.pop(self.name, None)

    def construct(self, box: Box) -> Construct | None:
        """The construct that was chosen, of this case."""
        if box.construct_id is None:
            return None
        return Construct.objects.filter(case=self.case, pk=box.construct_id).first()

    def _keep(self, box: Box) -> Box:
        self.session[self.name] = _written(box)
        return box


def _written(box: Box) -> dict[str, Any]:
    one = box.scanned
    return {
        "raw": base64.b64encode(one.raw).decode(),
        "device": one.device,
        "lot": one.lot,
        "serial": one.serial,
        "expires": one.expires.isoformat() if one.expires else "",
        "made_on": one.made_on.isoformat() if one.made_on else "",
        "agency": one.agency,
        "pis": [list(pair) for pair in one.pis],
        "at": box.at.isoformat(),
        "construct": box.construct_id,
        "another": box.another,
    }


def _read(kept: dict[str, Any]) -> Box:
    def day(name: str) -> date | None:
        return date.fromisoformat(kept[name]) if kept[name] else None

    return Box(
        Scanned(
            raw=base64.b64decode(kept["raw"]),
            device=kept["device"],
            lot=kept["lot"],
            serial=kept["serial"],
            expires=day("expires"),
            made_on=day("made_on"),
            agency=kept["agency"],
            pis=tuple((str(key), str(value)) for key, value in kept["pis"]),
        ),
        datetime.fromisoformat(kept["at"]),
        kept["construct"],
        kept["another"],
    )
