"""The people of the tests, each with one role; the stranger has none."""

from dataclasses import dataclass

from trays.parties.models import Party, Site
from trays.staff.models import Person, Role

PASSWORD = "a-long-enough-password"  # noqa: S105 - for tests only


@dataclass(frozen=True)
class Cast:
    """Who acts in a test. All work at the first site, but `far_coordinator` at the second."""

    keeper: Person
    coordinator: Person
    technician: Person
    scrub: Person
    circulating: Person
    surgeon: Person
    stores: Person
    quality: Person
    supplier: Person
    stranger: Person
    far_coordinator: Person

    def by_role(self) -> dict[str, Person]:
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


def make_cast(*, site: Site, far_site: Site, supplier: Party) -> Cast:
    """Make the people; passwords are set on none (tests sign in by force)."""

    def person(username: str, name: str, kind: str = "", at: Site | None = None) -> Person:
        one = Person.objects.create(username=username, name=name, password="!")
        if kind == Role.Kind.SUPPLIER:
            Role.objects.create(person=one, kind=kind, supplier=supplier)
        elif kind:
            Role.objects.create(person=one, kind=kind, site=at or site)
        return one

    kind = Role.Kind
    return Cast(
        keeper=Person.objects.create(username="keeper", name="K. Keeper", password="!", is_superuser=True),
        coordinator=person("coordinator", "C. Coordinator", kind.COORDINATOR),
        technician=person("technician", "T. Technician", kind.STERILE_SERVICES),
        scrub=person("scrub", "S. Scrub", kind.SCRUB_NURSE),
        circulating=person("circulating", "C. Circulating", kind.CIRCULATING_NURSE),
        surgeon=person("surgeon", "Ms Surgeon", kind.SURGEON),
        stores=person("stores", "S. Stores", kind.STORES),
        quality=person("quality", "Q. Quality", kind.QUALITY),
        supplier=person("supplier", "S. Supplier", kind.SUPPLIER),
        stranger=person("stranger", "S. Stranger"),
        far_coordinator=person("far", "F. Far", kind.COORDINATOR, far_site),
    )
