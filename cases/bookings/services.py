"""What changes bookings. Each verb has its file; this is the one name to import them from.

`case_enter`, `list_enter`, `case_call_off` and `case_relocate` are halves of acts: they run inside the
transaction of a caller who checks the role and writes the event.
"""

from cases.bookings.arrange import case_call_off, case_relocate, list_reorder
from cases.bookings.change import KEEP, case_change, prediction_add
from cases.bookings.enter import case_book, case_enter, list_enter, list_open

__all__ = [
    "KEEP",
    "case_book",
    "case_call_off",
    "case_change",
    "case_enter",
    "case_relocate",
    "list_enter",
    "list_open",
    "list_reorder",
    "prediction_add",
]
