"""Every kind of file that can be imported, in the order in which they depend on each other."""

from cases.bookings.importing import Cases, TheatreLists
from cases.bookings.importing_plans import PlanConsumables, Plans, PlanSets, PlanSlots, Procedures
from cases.bookings.importing_predictions import Predictions
from cases.counts.importing_templates import CountTemplates
from cases.forecasts.importing import ErrorTables, Outcomes
from cases.reorders.importing import StockRules
from cases.reservations.importing import Holds, SetHolds
from trays.catalogue.importing import Components, Families, FitRules, PackLevels
from trays.exchange.kinds import ImportKind
from trays.instruments.importing import Contents, InstrumentTypes, Serves, SetDesigns
from trays.instruments.importing_sets import PackLines, Packs, Sets
from trays.loans.importing import Agreements, Prices
from trays.loans.importing_offers import LoanOfferContents, LoanOffers
from trays.parties.importing import Parties, Sites
from trays.places.importing import Places
from trays.processing.importing import (
    DayTests,
    Hours,
    Machines,
    Pieces,
    ProcessingRules,
    Programmes,
    Spares,
    StageTimes,
    Trips,
)
from trays.staff.importing import People
from trays.stock.importing import Piles, Units

KINDS: tuple[type[ImportKind], ...] = (
    Parties,
    Sites,
    People,
    Places,
    Families,
    Components,
    PackLevels,
    FitRules,
    InstrumentTypes,
    SetDesigns,
    Serves,
    Contents,
    Sets,
    Packs,
    PackLines,
    Pieces,
    Spares,
    Machines,
    Programmes,
    DayTests,
    ProcessingRules,
    StageTimes,
    Hours,
    Trips,
    Units,
    Piles,
    Procedures,
    CountTemplates,
    Plans,
    PlanSlots,
    PlanSets,
    PlanConsumables,
    ErrorTables,
    TheatreLists,
    Cases,
    Predictions,
    Outcomes,
    StockRules,
    Holds,
    SetHolds,
    Agreements,
    Prices,
    LoanOffers,
    LoanOfferContents,
)
BY_CODE: dict[str, type[ImportKind]] = {kind.code: kind for kind in KINDS}
