"""Which site a page is about: the person's own unless the address names another that they may see."""

from dataclasses import dataclass

from django.http import HttpRequest
from django.utils.translation import gettext as _

from trays.parties.models import Site
from trays.staff.access import home_site, sites_for
from trays.staff.models import Person
from trays.web.errors import NotAllowed, NotThere
from trays.web.filters import FilterLink, GetForm


@dataclass(frozen=True, slots=True)
class SiteChoice:
    """The site of a page, and links to the others; no links when there is only one."""

    site: Site
    links: tuple[FilterLink, ...]


def site_choice(request: HttpRequest, *, act: str, by: Person) -> SiteChoice:
    """The site that ``?site=`` names, else the person's own, else the first at which they may do the act.

    Raises NotAllowed when there is none at all, NotThere for a site that is not theirs to see.
    """
    sites = list(sites_for(by=by, act=act))
    if not sites:
        raise NotAllowed(
            "not-your-page",
            _("Your role does not include this page."),
            _("Go to your own pages, or have your roles changed."),
        )
    wanted = request.GET.get("site", "")
    home = home_site(by)
    if wanted:
        site = next((site for site in sites if site.code == wanted), None)
        if site is None:
            raise NotThere(
                "no-such-site", _("There is no such site that you may see."), _("Choose one of your sites.")
            )
    else:
        site = next((site for site in sites if home is not None and site.pk == home.pk), sites[0])
    form = GetForm(request.GET)
    links = tuple(
        FilterLink(other.name, form.address(site=other.code), current=other.pk == site.pk) for other in sites
    )
    return SiteChoice(site=site, links=links if len(links) > 1 else ())
