"""Signing in and out, and one's own PIN."""

from http import HTTPStatus
from typing import cast

from django.contrib import messages
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from trays.staff.forms import PinForm, SignInForm
from trays.staff.models import Person
from trays.staff.signing import MOST_WRONG, pin_set
from trays.web.errors import Refusal
from trays.web.page import answer_page, go_to


class SignIn(LoginView):
    """The one page that anybody sees."""

    template_name = "trays/staff/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True
    http_method_names = ("get", "head", "post", "options")


class SignOut(LogoutView):
    """Ends the session at the server; by POST only."""

    http_method_names = ("post", "options")


@require_http_methods(["GET", "HEAD", "POST"])
def my_pin(request: HttpRequest) -> HttpResponse:
    """One's own PIN to sign with: set anew with the password."""
    by = cast(Person, request.user)
    form = PinForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            pin_set(by=by, password=given["password"], pin=given["pin"], at=timezone.now())
        except Refusal as refusal:
            form.add_error("password" if refusal.code == "wrong-password" else "pin", refusal.as_error())
        else:
            messages.success(request, _("Your PIN is set. It signs in your name; tell it to nobody."))
            return go_to(request, "my-pin")
    context = {"form": form, "has_pin": bool(by.pin), "locked": by.wrong_pins >= MOST_WRONG}
    status = HTTPStatus.UNPROCESSABLE_ENTITY if form.errors else HTTPStatus.OK
    return answer_page(request, "trays/staff/my_pin.html", context, status=status)
