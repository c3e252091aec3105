"""Files of people and their roles."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.contrib.auth.hashers import make_password
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.exchange.columns import Choice, Code, Text
from trays.exchange.kinds import ImportKind, Moved, Moves, Row, moves
from trays.parties.models import Party
from trays.staff.models import Person, Role, RoleKind


class People(ImportKind):
    """One role of one person a row; the same person may stand in several rows.

    Nobody can sign in by being imported: a password is set by hand afterwards.
    """

    code = "people"
    title = gettext_lazy("People and roles")
    about = gettext_lazy("Who works here, in which role, at which site or for which supplier.")
    columns = (
        Code("username", gettext_lazy("What the person signs in with."), "addlestrop", longest=60),
        Text("name", gettext_lazy("As it stands on lists and sheets."), "R. Addlestrop"),
        Code(
            "badge", gettext_lazy("What the badge's code says."), "", required=False, default="", longest=18
        ),
        Choice("role", gettext_lazy("The role."), "coordinator", words=tuple(RoleKind.values)),
        Code("site", gettext_lazy("Where; empty for a supplier's people."), "larkmere", False, ""),
        Code("supplier", gettext_lazy("For whom; empty for the hospital's people."), "", False, ""),
    )

    def prepare(self) -> None:
        self.suppliers = {party.code: party for party in Party.objects.filter(kind=Party.Kind.SUPPLIER)}
        self.named = dict(Person.objects.values_list("username", "name"))
        self.badges = dict(Person.objects.exclude(badge="").values_list("badge", "username"))
        self.known = set(Role.objects.values_list("person__username", "kind", "site_id", "supplier_id"))

    def check(self, row: Row) -> dict[str, Any] | None:
        site = self.site(row)
        supplier = row.find("supplier", self.suppliers)
        for_supplier = row["role"] == RoleKind.SUPPLIER
        if bool(row["supplier"]) != for_supplier or bool(row["site"]) == for_supplier:
            row.fault(
                "role",
                _("A supplier's person has a supplier and no site; everybody else has a site."),
                _("Fill in one of the two columns and empty the other."),
            )
        self._same_person(row)
        if row.faults:
            return None
        return {
            "username": row["username"],
            "name": row["name"],
            "badge": row["badge"],
            "kind": row["role"],
            "at_site_id": site.id if site else None,
            "supplier_id": supplier.pk if supplier else None,
        }

    def _same_person(self, row: Row) -> None:
        name = self.named.setdefault(row["username"], row["name"])
        if name != row["name"]:
            row.fault(
                "name",
                _("This sign-in already stands for “%(name)s”.") % {"name": name},
                _("Use one name throughout, or another sign-in."),
            )
        if row["badge"] and self.badges.setdefault(row["badge"], row["username"]) != row["username"]:
            row.fault("badge", _("This badge is another person's."), _("Correct it, or leave it empty."))

    def key(self, values: dict[str, Any]) -> tuple[Any, ...]:
        return values["username"], values["kind"], values["at_site_id"], values["supplier_id"]

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        people = Person.objects.in_bulk([values["username"] for values in rows], field_name="username")
        new = {
            values["username"]: Person(
                username=values["username"],
                name=values["name"],
                badge=values["badge"],
                password=make_password(None),
            )
            for values in rows
            if values["username"] not in people
        }
        people |= {person.username: person for person in Person.objects.bulk_create(new.values())}
        roles = Role.objects.bulk_create(
            [
                Role(
                    person=people[values["username"]],
                    kind=values["kind"],
                    site_id=values["at_site_id"],
                    supplier_id=values["supplier_id"],
                )
                for values in rows
            ]
        )
        made = [(None, Moved("person", people[username].pk)) for username in new]
        return moves([*made, *((None, Moved("role", role.pk)) for role in roles)])
