"""Labels that name one thing and no more: the holder of a set, a set on loan, a member of staff."""

from __future__ import annotations

from django.db.models import Count, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from trays.identifiers import gs1
from trays.identifiers.gs1 import Malformed
from trays.instruments.models import InstrumentSet
from trays.labels.kinds import Fact, LabelKind, PlainLabel, Refused
from trays.labels.sources import Made, Source, refusing, register
from trays.parties.models import Tenure
from trays.staff.models import Person


def _sets() -> QuerySet[InstrumentSet]:
    rows = InstrumentSet.objects.select_related("version__design", "owner", "site")
    return rows.annotate(trays=Count("packs")).order_by("code")


def held_sets() -> QuerySet[InstrumentSet]:
    """Sets of which a pack is kept in a rigid container."""
    return _sets().filter(pk__in=InstrumentSet.objects.filter(packs__container=True).values("pk"))


def lent_sets() -> QuerySet[InstrumentSet]:
    """Sets that are here on loan."""
    return _sets().filter(tenure=Tenure.LOANED)


def container_labels(rows: QuerySet[InstrumentSet]) -> Made:
    """Labels of the holders, which outlast what is in them. One query."""
    return tuple(_holder(row, LabelKind.CONTAINER) for row in rows)


def tag_labels(rows: QuerySet[InstrumentSet]) -> Made:
    """Tags of sets on loan, with whose they are. One query."""
    return tuple(_holder(row, LabelKind.TAG) for row in rows)


def _holder(row: InstrumentSet, kind: LabelKind) -> PlainLabel | Refused:
    design = row.version.design
    refuse = refusing(row.pk, f"{row.code}, {design.name}")
    if not row.grai:
        return refuse(_("The set has no returnable asset number (GRAI) on file."))
    try:
        payload = gs1.build([("8003", "0" + row.grai)])
    except Malformed as why:
        return refuse(str(why))
    trays: int = row.trays  # type: ignore[attr-defined]
    count = ngettext("%(count)s tray", "%(count)s trays", trays) % {"count": trays}
    tag = kind is LabelKind.TAG
    site = Fact(_("at") if tag else _("of"), row.site.name, name=True)
    return PlainLabel(
        row_id=row.pk,
        called=row.code,
        payload=payload,
        kind=kind,
        head=_("loan set") if tag else _("container of set"),
        number=row.code,
        name=design.name,
        facts=(Fact(_("of"), row.owner.name, name=True), site, Fact("", count)) if tag else (site,),
        note=_("On arrival treat as not sterile, whatever the pack says.") if tag else "",
    )


def people() -> QuerySet[Person]:
    """People who may sign in and have a role, by name."""
    return Person.objects.filter(is_active=True, roles__isnull=False).distinct().order_by("name", "pk")


def badge_labels(rows: QuerySet[Person]) -> Made:
    """Badges of staff: name and service relation number. Two queries."""
    return tuple(_badge(row) for row in rows.prefetch_related("roles"))


def _badge(row: Person) -> PlainLabel | Refused:
    refuse = refusing(row.pk, f"{row.name}, {row.username}")
    if not row.badge:
        return refuse(_("The person has no badge number on file."))
    try:
        payload = gs1.build([("8017", row.badge)])
    except Malformed:
        return refuse(
            _("The badge “%(badge)s” is no service relation number (GSRN): 18 digits with a check digit.")
            % {"badge": row.badge}
        )
    roles = dict.fromkeys(str(role.get_kind_display()) for role in row.roles.all())
    return PlainLabel(
        row_id=row.pk,
        called=row.name,
        payload=payload,
        kind=LabelKind.BADGE,
        head=_("staff"),
        number=row.name,
        name=", ".join(roles),
    )


register(
    Source(
        kind=LabelKind.CONTAINER,
        words=gettext_lazy("Containers"),
        act="print_labels",
        subject="set",
        site="site",
        rows=held_sets,
        labels=container_labels,
        caution=gettext_lazy("It names the container’s set for good; what is in it, the pack label says."),
    )
)
register(
    Source(
        kind=LabelKind.TAG,
        words=gettext_lazy("Loan sets"),
        act="print_labels",
        subject="set",
        site="site",
        rows=lent_sets,
        labels=tag_labels,
        caution=gettext_lazy("A tag says whose the set is, not that it was checked or processed."),
    )
)
register(
    Source(
        kind=LabelKind.BADGE,
        words=gettext_lazy("Staff"),
        act="print_badges",
        subject="person",
        site="roles__site",
        rows=people,
        labels=badge_labels,
        caution=gettext_lazy("A badge names a person; it opens nothing by itself. Hand it to nobody else."),
    )
)
