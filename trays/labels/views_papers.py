"""Pages of label stock: what a site can print on, its own stock, the offset of its printers."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from trays.labels.forms import PaperForm
from trays.labels.models import LENGTHS, LabelPaper
from trays.labels.queries import stocks_at
from trays.labels.services import paper_save
from trays.places.choose import site_choice
from trays.staff.access import fetch
from trays.staff.models import Person
from trays.symbols.labelstock import COMMON
from trays.web.page import answer_page, go_to

_ACT = "print_labels"


@require_safe
def label_papers(request: HttpRequest) -> HttpResponse:
    """Every stock of a site: its own first, then the common ones."""
    choice = site_choice(request, act=_ACT, by=cast(Person, request.user))
    own = list(LabelPaper.objects.filter(site=choice.site))
    taken = {row.code for row in own}
    common = [stock for stock in stocks_at(choice.site.pk).values() if stock.code not in taken]
    context = {"site": choice.site, "sites": choice.links, "own": own, "common": common}
    return answer_page(request, "trays/labels/papers.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def label_paper_new(request: HttpRequest) -> HttpResponse:
    """Add stock; `?like=` begins with the lengths of a common one."""
    choice = site_choice(request, act=_ACT, by=cast(Person, request.user))
    like = COMMON.get(request.GET.get("like", ""))
    initial = {"code": like.code, "name": like.name, "sheet": like.sheet} if like else {}
    if like:
        initial |= {name: round(getattr(like, name), 2) for name in (*LENGTHS, "columns", "rows")}
    return _page(request, LabelPaper(site=choice.site), initial)


@require_http_methods(["GET", "HEAD", "POST"])
def label_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """Change stock of a site."""
    rows = LabelPaper.objects.select_related("site")
    return _page(request, fetch(rows, by=cast(Person, request.user), act=_ACT, pk=pk), {})


def _page(request: HttpRequest, paper: LabelPaper, initial: dict[str, object]) -> HttpResponse:
    posted = request.POST if request.method == "POST" else None
    form = PaperForm(posted, instance=paper, initial=initial)
    if posted is not None and form.is_valid():
        saved = paper_save(by=cast(Person, request.user), paper=form.save(commit=False), at=timezone.now())
        messages.success(request, _("%(name)s is on file.") % {"name": saved.name})
        return go_to(request, "label-papers")
    status = 422 if posted is not None else 200
    return answer_page(request, "trays/labels/paper.html", {"form": form, "site": paper.site}, status=status)
