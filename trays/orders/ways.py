"""The states of an order and the ways between them."""

from collections.abc import Mapping

from trays.orders.models import OrderState

S = OrderState

WAYS: Mapping[str, tuple[str, ...]] = {
    S.DRAFT: (S.APPROVED, S.CANCELLED),
    S.APPROVED: (S.SENT, S.CANCELLED),
    S.SENT: (S.CONFIRMED, S.PART_DELIVERED, S.CLOSED, S.CANCELLED),
    S.CONFIRMED: (S.PART_DELIVERED, S.CLOSED, S.CANCELLED),
    # Back where everything that had come was a scan by mistake.
    S.PART_DELIVERED: (S.CLOSED, S.CONFIRMED, S.SENT),
    S.CLOSED: (),
    S.CANCELLED: (),
}


def way(before: str, after: str) -> bool:
    """Whether an order may go from one state to the other."""
    return after in WAYS[before]
