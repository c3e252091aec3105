"""The states of a sealed unit and the ways between them."""

from collections.abc import Mapping

from trays.stock.models import UnitState

S = UnitState

# States in which a unit is stock of the house; in every other it is out of it.
STOCK: tuple[str, ...] = (S.SHELF, S.PICKED, S.QUARANTINE, S.TRANSIT)
# What happened to it in theatre. A fact: it is taken down from wherever the record held the unit.
FATES: tuple[str, ...] = (S.OPENED, S.IMPLANTED, S.WASTED)
# Not where the record says, or gone: it may turn up at any site.
ASTRAY: tuple[str, ...] = (S.TRANSIT, S.MISSING, S.RETURNED, S.DISPOSED)

# For each state those that may follow. What was opened by mistake goes back by way of quarantine only.
WAYS: Mapping[str, tuple[str, ...]] = {
    S.SHELF: (S.PICKED, S.QUARANTINE, S.TRANSIT, *FATES, S.RETURNED, S.MISSING, S.DISPOSED),
    S.PICKED: (S.SHELF, S.QUARANTINE, S.TRANSIT, *FATES, S.RETURNED, S.MISSING, S.DISPOSED),
    S.QUARANTINE: (S.SHELF, *FATES, S.RETURNED, S.MISSING, S.DISPOSED),
    S.TRANSIT: (S.SHELF, S.QUARANTINE, *FATES, S.MISSING),
    S.MISSING: (S.SHELF, S.QUARANTINE, *FATES, S.DISPOSED),
    S.RETURNED: (S.SHELF, S.QUARANTINE, *FATES),
    S.DISPOSED: FATES,
    S.OPENED: (S.IMPLANTED, S.WASTED, S.QUARANTINE, S.DISPOSED),
    S.IMPLANTED: (S.OPENED, S.WASTED),
    S.WASTED: (S.OPENED, S.IMPLANTED),
}


def way(before: str, after: str) -> bool:
    """Whether a unit may go from one state to the other."""
    return after in WAYS[before]
