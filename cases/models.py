"""Every model of this app, brought together for Django; each lives in its room."""

from cases.bookings.models import (
    Case,
    CaseSlot,
    Construct,
    PlanConsumable,
    PlanFamily,
    PlanLink,
    PlanSetNeed,
    PlanSetOption,
    PlanSlot,
    Prediction,
    Procedure,
    ProcedurePlan,
    TheatreList,
)
from cases.counts.models import CountSheet
from cases.counts.models_counts import (
    Added,
    CountLine,
    Entry,
    HandOver,
    LeftIn,
    PackIn,
    Pause,
    Recount,
    Stage,
    StageClass,
    StageSigning,
    TheatreCount,
    WrongPacket,
)
from cases.counts.models_discrepancies import Discrepancy, DiscrepancySigning, DiscrepancyStep
from cases.counts.models_sent import SentFor
from cases.counts.models_templates import CountTemplate, TemplateClass, TemplateStage, TemplateStep
from cases.forecasts.models import ErrorTable, ErrorTableRow, Outcome
from cases.picks.models import PackFor, PickLine, PickList
from cases.reorders.models import Proposal, ProposalAct, SetAside, StockRule, UseOrdered
from cases.reservations.models import Hold, SetHold
from cases.usage.models import Brought, CardExempt, Mark, MaterialConstraint
from cases.usage.models_closing import CaseClosing, SetFailure
from cases.usage.models_record import Explant, RecordSigning, StopMoment, SurgeonDecision

__all__ = [
    "Added",
    "Brought",
    "CardExempt",
    "Case",
    "CaseClosing",
    "CaseSlot",
    "Construct",
    "CountLine",
    "CountSheet",
    "CountTemplate",
    "Discrepancy",
    "DiscrepancySigning",
    "DiscrepancyStep",
    "Entry",
    "ErrorTable",
    "ErrorTableRow",
    "Explant",
    "HandOver",
    "Hold",
    "LeftIn",
    "Mark",
    "MaterialConstraint",
    "Outcome",
    "PackFor",
    "PackIn",
    "Pause",
    "PickLine",
    "PickList",
    "PlanConsumable",
    "PlanFamily",
    "PlanLink",
    "PlanSetNeed",
    "PlanSetOption",
    "PlanSlot",
    "Prediction",
    "Procedure",
    "ProcedurePlan",
    "Proposal",
    "ProposalAct",
    "RecordSigning",
    "Recount",
    "SentFor",
    "SetAside",
    "SetFailure",
    "SetHold",
    "Stage",
    "StageClass",
    "StageSigning",
    "StockRule",
    "StopMoment",
    "SurgeonDecision",
    "TemplateClass",
    "TemplateStage",
    "TemplateStep",
    "TheatreCount",
    "TheatreList",
    "UseOrdered",
    "WrongPacket",
]
