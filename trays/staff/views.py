"""Signing in and out."""

from django.contrib.auth.views import LoginView, LogoutView

from trays.staff.forms import SignInForm


class SignIn(LoginView):
    """The one page that anybody sees."""

    template_name = "trays/staff/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True
    http_method_names = ("get", "head", "post", "options")


class SignOut(LogoutView):
    """Ends the session at the server; by POST only."""

    http_method_names = ("post", "options")
