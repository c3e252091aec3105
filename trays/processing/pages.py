"""What the pages of the round share, under one name: how a form's act is done, and who does it."""

from trays.staff.signed_in import person_of
from trays.web.acting import done, key_of, new_key, status_of

__all__ = ["done", "key_of", "new_key", "person_of", "status_of"]
