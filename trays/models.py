"""Every model of this app, brought together for Django; each lives in its room."""

from trays.catalogue.models import Component, Family, FitRule, PackLevel
from trays.catalogue.models_drafts import CatalogueDraft
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
from trays.loans.models import (
    Loan,
    LoanCheck,
    LoanCheckLine,
    LoanCount,
    LoanCountLine,
    LoanGone,
    LoanItem,
    LoanSet,
    LoanStep,
    LoanUnit,
)
from trays.loans.models_agreements import (
    Agreement,
    AgreementCount,
    AgreementCountLine,
    AgreementLine,
    LoanOffer,
    LoanOfferSet,
    LoanOfferUnit,
    LoanPolicy,
    Price,
)
from trays.loans.models_charges import LoanCharge, LoanChargeUse
from trays.orders.models import (
    Delivery,
    DeliveryLine,
    Order,
    OrderLimit,
    OrderLine,
    OrderPaper,
    OrderSend,
)
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
from trays.stock.models_apart import ReturnUnit, SetApart, SupplierReturn
from trays.stock.models_arrivals import Arrival, ArrivalUnit
from trays.stock.models_notices import NoticeLot, NoticeUnit, SafetyNotice
from trays.stock.models_policy import StockPolicy
from trays.stock.models_takes import Adjustment, AdjustmentLine, PileCount, Sighting, StockTake
from trays.stock.models_transfers import Transfer, TransferPile, TransferUnit

__all__ = [
    "Adjustment",
    "AdjustmentLine",
    "Agreement",
    "AgreementCount",
    "AgreementCountLine",
    "AgreementLine",
    "Arrival",
    "ArrivalUnit",
    "Assembly",
    "AssemblyLine",
    "Care",
    "CatalogueDraft",
    "Chain",
    "Component",
    "ContentsLine",
    "DayTest",
    "DayTestRule",
    "Delivery",
    "DeliveryLine",
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
    "Loan",
    "LoanCharge",
    "LoanChargeUse",
    "LoanCheck",
    "LoanCheckLine",
    "LoanCount",
    "LoanCountLine",
    "LoanGone",
    "LoanItem",
    "LoanOffer",
    "LoanOfferSet",
    "LoanOfferUnit",
    "LoanPolicy",
    "LoanSet",
    "LoanStep",
    "LoanUnit",
    "Machine",
    "Move",
    "NoticeLot",
    "NoticeUnit",
    "Order",
    "OrderLimit",
    "OrderLine",
    "OrderPaper",
    "OrderSend",
    "Pack",
    "PackLevel",
    "PackLine",
    "Party",
    "Person",
    "Piece",
    "Pile",
    "PileCount",
    "Place",
    "Policy",
    "Price",
    "Programme",
    "Recall",
    "RecallPack",
    "RefusedScan",
    "ReturnUnit",
    "Role",
    "Run",
    "RunLog",
    "RunPack",
    "SafetyNotice",
    "SetApart",
    "SetDesign",
    "Shortfall",
    "Sighting",
    "Signature",
    "Site",
    "Spare",
    "StageAllowance",
    "StockPolicy",
    "StockTake",
    "SupplierReturn",
    "Transfer",
    "TransferPile",
    "TransferUnit",
    "Trip",
    "Unit",
    "WorkingHours",
    "Workstation",
]
