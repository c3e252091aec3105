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
from cases.forecasts.models import ErrorTable, ErrorTableRow, Outcome
from cases.picks.models import PackFor, PickLine, PickList
from cases.reorders.models import StockRule
from cases.reservations.models import Hold, SetHold

__all__ = [
    "Case",
    "CaseSlot",
    "Construct",
    "CountSheet",
    "ErrorTable",
    "ErrorTableRow",
    "Hold",
    "Outcome",
    "PackFor",
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
    "SetHold",
    "StockRule",
    "TheatreList",
]
