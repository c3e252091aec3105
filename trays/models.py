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
from trays.instruments.models_pieces import Care, Piece, Spare
from trays.labels.models import LabelFile, LabelPaper, LabelRun
from trays.ledger.models import Chain, Event, EventLine
from trays.parties.models import Party, Site
from trays.places.models import Place
from trays.processing.models import Assembly, AssemblyLine, Move, Shortfall
from trays.processing.models_machines import (
    DayTest,
    DayTestRule,
    Indicator,
    Machine,
    Programme,
    Run,
    RunLog,
    RunPack,
)
from trays.processing.models_policy import Policy, StageAllowance, Trip, WorkingHours
from trays.processing.models_recall import Recall, RecallPack
from trays.refusals.models import RefusedScan
from trays.scanners.models import Workstation
from trays.staff.models import Person, Role, Signature
from trays.stock.models import Pile, Unit

__all__ = [
    "Assembly",
    "AssemblyLine",
    "Care",
    "Chain",
    "Component",
    "ContentsLine",
    "DayTest",
    "DayTestRule",
    "DesignServes",
    "DesignVersion",
    "Event",
    "EventLine",
    "Family",
    "FitRule",
    "ImportFault",
    "ImportRow",
    "ImportRun",
    "Indicator",
    "InstrumentSet",
    "InstrumentType",
    "LabelFile",
    "LabelPaper",
    "LabelRun",
    "Machine",
    "Move",
    "Pack",
    "PackLevel",
    "PackLine",
    "Party",
    "Person",
    "Piece",
    "Pile",
    "Place",
    "Policy",
    "Programme",
    "Recall",
    "RecallPack",
    "RefusedScan",
    "Role",
    "Run",
    "RunLog",
    "RunPack",
    "SetDesign",
    "Shortfall",
    "Signature",
    "Site",
    "Spare",
    "StageAllowance",
    "Trip",
    "Unit",
    "WorkingHours",
    "Workstation",
]
