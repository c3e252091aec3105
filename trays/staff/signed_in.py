"""Who has signed in."""

from typing import cast

from django.http import HttpRequest

from trays.staff.models import Person


def person_of(request: HttpRequest) -> Person:
    """Who has signed in: the site lets nobody else through."""
    return cast(Person, request.user)
