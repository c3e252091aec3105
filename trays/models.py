"""Every model of this app, brought together for Django; each lives in its room."""

from trays.catalogue.models import Component, Family, FitRule, PackLevel
from trays.exchange.models import ImportFault, ImportRow, ImportRun
from trays.instruments.models import (
    ContentsLine,
    DesignServes,
    DesignVersion,
    InstrumentSet,
    InstrumentType,
    Pack,
    PackLine,
    SetDesign,
)
from trays.ledger.models import Chain, Event, EventLine
from trays.parties.models import Party, Site
from trays.places.models import Place
from trays.refusals.models import RefusedScan
from trays.staff.models import Person, Role
from trays.stock.models import Pile, Unit

__all__ = [
    "Chain",
    "Component",
    "ContentsLine",
    "DesignServes",
    "DesignVersion",
    "Event",
    "EventLine",
    "Family",
    "FitRule",
    "ImportFault",
    "ImportRow",
    "ImportRun",
    "InstrumentSet",
    "InstrumentType",
    "Pack",
    "PackLevel",
    "PackLine",
    "Party",
    "Person",
    "Pile",
    "Place",
    "RefusedScan",
    "Role",
    "SetDesign",
    "Site",
    "Unit",
]
