"""Which kinds of implant get no card at a site: the hospital's own list."""

from http import HTTPStatus

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from cases.usage.exempting import card_exempt_set, exempt_of, known_slots
from cases.usage.forms_closing import NoCardForm
from trays.places.choose import site_choice
from trays.processing.pages import done, new_key, person_of
from trays.web.page import answer_page


@require_http_methods(["GET", "HEAD", "POST"])
def no_card(request: HttpRequest) -> HttpResponse:
    """The list as it is; and to change it."""
    by = person_of(request)
    choice = site_choice(request, act="set_count_policy", by=by)
    known = sorted(known_slots())

    def page(form: NoCardForm) -> HttpResponse:
        context = {"form": form, "site": choice.site, "sites": choice.links, "known": known}
        context["at"] = timezone.now()
        status = HTTPStatus.UNPROCESSABLE_ENTITY if form.is_bound else HTTPStatus.OK
        return answer_page(request, "cases/usage/no_card.html", context, status=status)

    if request.method != "POST":
        now = [row.slot for row in exempt_of(choice.site)]
        return page(NoCardForm(known=known, initial={**new_key(), "slots": now}))
    form = NoCardForm(request.POST, known=known)

    def act() -> None:
        card_exempt_set(
            by=by, site=choice.site, slots=form.cleaned_data["slots"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: page(form), f"{request.path}?site={choice.site.code}")
