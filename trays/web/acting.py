"""What pages of work share: doing a form's act once, and going on or showing what is wrong."""

from collections.abc import Callable, Mapping
from http import HTTPStatus
from typing import Any
from uuid import UUID, uuid4

from django import forms
from django.http import HttpRequest, HttpResponse

from trays.web.errors import NotThere, Refusal
from trays.web.page import go_to


class KeyForm(forms.Form):
    """A press that is done once, however often it is sent. Its fields' ids are its own: forms share pages."""

    client_key = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("auto_id", f"{type(self).__name__.lower()}_%s")
        super().__init__(*args, **kwargs)


def done(
    request: HttpRequest,
    form: forms.Form,
    act: Callable[[], object],
    again: Callable[[], HttpResponse],
    to: str,
    *args: object,
) -> HttpResponse:
    """Do the act of a form and go on; or the page again, with what was typed and what is wrong with it.

    A page that is not there, or not for this person, stays that.
    """
    if form.is_valid():
        try:
            act()
        except Refusal as refusal:
            if isinstance(refusal, NotThere) or refusal.code == "not-your-act":
                raise
            form.add_error(None, refusal.as_error())
        else:
            return go_to(request, to, *args)
    return again()


def status_of(given: Mapping[str, forms.Form]) -> int:
    """A page that shows a form again is not an answer that worked."""
    return HTTPStatus.UNPROCESSABLE_ENTITY if given else HTTPStatus.OK


def new_key() -> dict[str, Any]:
    """The first value of a form that is to be done once."""
    return {"client_key": uuid4()}


def key_of(request: HttpRequest) -> UUID | None:
    """The key of a press that asks for nothing else."""
    form = KeyForm(request.POST)
    return form.cleaned_data["client_key"] if form.is_valid() else None
