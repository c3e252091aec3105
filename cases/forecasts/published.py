"""Published error tables that stand in until the hospital's own are on file."""

from django.utils.translation import gettext as _

from cases.bookings.models import PredictionMethod as Method
from cases.planning import sizing

# (slot, method) -> the key of the published table.
_PUBLISHED: dict[tuple[str, str], str] = {
    ("femoral", Method.XRAY): "knee femur 2D",
    ("femoral", Method.CT): "knee femur CT",
    ("femoral", Method.PATIENT_DATA): "knee femur demographic",
    ("femoral", Method.OTHER_SIDE): "knee other side",
    ("tibial", Method.XRAY): "knee tibia 2D",
    ("tibial", Method.PATIENT_DATA): "knee tibia demographic",
    ("tibial", Method.OTHER_SIDE): "knee other side",
    ("cup", Method.XRAY): "hip cup 2D",
    ("stem", Method.XRAY): "hip stem 2D",
}
# For want of a table: the widest published one of the joint.
_WIDEST_OF_HIP = "hip cup 2D"
_WIDEST_OF_KNEE = "knee femur 2D"
_HIP_SLOTS = frozenset({"cup", "stem", "liner", "head"})


def published(slot: str, method: str) -> tuple[tuple[float, ...], str]:
    """The published table for a slot and a method, from -3 to +3, and where it comes from.

    Where none is published the widest one of the joint is taken, and the source says so.
    """
    key = _PUBLISHED.get((slot, method))
    if key is not None:
        table = sizing.PRIORS[key]
        return tuple(table.offsets), table.source
    table = sizing.PRIORS[_WIDEST_OF_HIP if slot in _HIP_SLOTS else _WIDEST_OF_KNEE]
    source = _("%(source)s (taken for want of a table for this slot and method)") % {"source": table.source}
    return tuple(table.offsets), source
