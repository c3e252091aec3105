"""Answers: a whole page or a part of it, a way on, a refusal, an error."""

from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import render, resolve_url
from django.template import loader
from django.utils.cache import patch_vary_headers

from trays.web.errors import Refusal

# The fixed place, first in main, where the answer to a scan or an act appears.
ANSWER_PLACE = "answer"


def wants_part(request: HttpRequest) -> bool:
    """Whether htmx asks for a part of the page (not for the page itself, as when it restores its history)."""
    htmx = getattr(request, "htmx", None)
    if not htmx:
        return False
    return not htmx.boosted and not htmx.history_restore_request


def wants_json(request: HttpRequest) -> bool:
    """Whether a script asks for data rather than a page."""
    return request.headers.get("Accept", "").startswith("application/json")


def answer_page(
    request: HttpRequest,
    template: str,
    context: Mapping[str, Any] | None = None,
    *,
    part: str | Mapping[str, str] | None = None,
    status: int = 200,
) -> HttpResponse:
    """The whole page, or for htmx the named part of it.

    ``part`` is the template of the part, or several of them by the id of the element they go into
    (hx-target); an id that is not among them gets the whole page.
    """
    chosen = template
    if part is not None and wants_part(request):
        if isinstance(part, str):
            chosen = part
        else:
            chosen = part.get(request.htmx.target or "", template)  # type: ignore[attr-defined]
    return _kept_by_nobody(render(request, chosen, dict(context or {}), status=status))


def go_to(request: HttpRequest, to: Any, *args: Any, **kwargs: Any) -> HttpResponse:
    """After an act that worked: on to another page, so that reloading repeats nothing.

    ``to`` is an URL name, a path or an object with a page, as for django.shortcuts.redirect.
    """
    url = resolve_url(to, *args, **kwargs)
    if wants_part(request):
        # htmx follows redirects unseen and would put a whole page into the part.
        return _kept_by_nobody(HttpResponse(headers={"HX-Redirect": url}))
    answer = HttpResponseRedirect(url)
    answer.status_code = 303
    return _kept_by_nobody(answer)


def refusal_page(request: HttpRequest, refusal: Refusal) -> HttpResponse:
    """A refusal as the person's device can use it: page, part for the answer's place, or JSON."""
    if wants_json(request):
        return _kept_by_nobody(
            JsonResponse(
                {
                    "code": refusal.code,
                    "sentence": str(refusal.sentence),
                    "next_step": str(refusal.next_step),
                    "reference": getattr(request, "reference", ""),
                },
                status=refusal.status,
            )
        )
    if wants_part(request):
        return into_answer(request, "parts/answer_fault.html", {"refusal": refusal}, status=refusal.status)
    return answer_page(request, "refusal.html", {"refusal": refusal}, status=refusal.status)


def into_answer(
    request: HttpRequest, template: str, context: Mapping[str, Any], *, status: int = 200
) -> HttpResponse:
    """A part that goes into the answer's place, whatever the pressed thing was meant to change."""
    answer = render(request, template, dict(context), status=status)
    answer["HX-Retarget"] = f"#{ANSWER_PLACE}"
    answer["HX-Reswap"] = "innerHTML"
    answer["HX-Reselect"] = "unset"
    return _kept_by_nobody(answer)


def error_page(
    request: HttpRequest, template: str, status: int, context: Mapping[str, Any] | None = None
) -> HttpResponse:
    """An error in the shape of a page, with the reference that the log has.

    Rendered without the context processors: they may be what failed, or need a database that is away.
    """
    given = {
        "request": request,
        "bare": True,
        "reference": getattr(request, "reference", ""),
        **(context or {}),
    }
    if wants_part(request):
        part = loader.render_to_string("parts/answer_error.html", {**given, "status": status})
        answer = HttpResponse(part, status=status)
        answer["HX-Retarget"] = f"#{ANSWER_PLACE}"
        answer["HX-Reswap"] = "innerHTML"
        answer["HX-Reselect"] = "unset"
    else:
        answer = HttpResponse(loader.render_to_string(template, given), status=status)
    return _kept_by_nobody(answer)


def _kept_by_nobody(answer: HttpResponse) -> HttpResponse:
    answer["Cache-Control"] = "no-store"
    # One address answers with a page or with a part.
    patch_vary_headers(answer, ["HX-Request", "HX-Target"])
    return answer
