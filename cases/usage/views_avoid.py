"""Materials that a case is to avoid: to see for all in theatre, to say for who books it and who records."""

from http import HTTPStatus

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from cases.usage.avoiding import avoided_of, known_materials, materials_set
from cases.usage.forms_closing import AvoidForm
from cases.usage.pages import case_of, surround
from trays.processing.pages import done, new_key, person_of
from trays.staff.access import may
from trays.web.page import answer_page


@require_http_methods(["GET", "HEAD", "POST"])
def avoid(request: HttpRequest, pk: int) -> HttpResponse:
    """The list as it is, with who said so; and to change it."""
    case = case_of(request, pk)
    by, at = person_of(request), timezone.now()
    known = known_materials()

    def page(form: AvoidForm) -> HttpResponse:
        context = {**surround(request, case, at), "form": form, "known": known, "rows": avoided_of(case)}
        context["may_say"] = any(
            may(by=by, act=act, site_id=case.site_id) for act in ("record_use", "book_case")
        )
        status = HTTPStatus.UNPROCESSABLE_ENTITY if form.is_bound else HTTPStatus.OK
        return answer_page(request, "cases/usage/avoid.html", context, status=status)

    if request.method != "POST":
        now = [row.material for row in avoided_of(case)]
        return page(AvoidForm(known=known, initial={**new_key(), "materials": now}))
    form = AvoidForm(request.POST, known=known)

    def act() -> None:
        materials_set(
            by=by, case=case, materials=form.cleaned_data["materials"], at=at,
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: page(form), "case-avoid", case.pk)
