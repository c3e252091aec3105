"""Labels of packs: of trays of a set, and of single instruments that are wrapped by themselves."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from django.db.models import Count, F, Q, QuerySet, Sum
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.identifiers import ours
from trays.identifiers.gs1 import Malformed
from trays.instruments.models import Pack, PackState, SetDesign
from trays.instruments.queries import set_facts
from trays.instruments.ready import Lack, PackFacts, SetFacts, state_word
from trays.labels.kinds import LabelKind, PackLabel, Refused
from trays.labels.sources import Group, Made, Source, refusing, register
from trays.labels.wording import day_words
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.processing.policies import policy_on

# A label says that the pack is sterile: it is made for packs that are being made ready or are ready.
LABELLED_STATES = (
    PackState.ASSEMBLED,
    PackState.PACKED,
    PackState.IN_LOAD,
    PackState.QUARANTINED,
    *Pack.READY,
)


def packs() -> QuerySet[Pack]:
    """Packs that have not left for good, by set and tray."""
    rows = Pack.objects.exclude(state__in=Pack.GONE)
    return rows.select_related("set__version__design", "set__site", "packed_by").order_by("set__code", "tray")


def instruments() -> QuerySet[Pack]:
    """Those among them whose contents list is one single piece."""
    same_tray = Q(set__version__lines__tray=F("tray"))
    counted = packs().annotate(
        lines_listed=Count("set__version__lines", filter=same_tray),
        quantity_listed=Sum("set__version__lines__quantity", filter=same_tray),
    )
    return counted.filter(lines_listed=1, quantity_listed=1)


def pack_labels(rows: QuerySet[Pack], *, kind: LabelKind = LabelKind.PACK) -> Made:
    """Their labels, or why there is none. Five queries, and one for each site."""
    chosen = list(rows)
    sets = set_facts(site_ids={row.set.site_id for row in chosen}, set_ids={row.set_id for row in chosen})
    facts = {pack.pk: (one, pack) for one in sets for pack in one.packs}
    by_date = {site.pk: _ends_by_date(site) for site in {row.set.site for row in chosen}}
    return tuple(_label(row, *facts[row.pk], kind=kind, by_date=by_date[row.set.site_id]) for row in chosen)


def _ends_by_date(site: Site) -> bool:
    """Whether sterility ends by date there, as the site has decided for today."""
    today = site_day(site, timezone.now())
    return policy_on(site=site, day=today).shelf_life_days is not None


def instrument_labels(rows: QuerySet[Pack]) -> Made:
    """The same for single instruments. Five queries."""
    return pack_labels(rows, kind=LabelKind.INSTRUMENT)


def _label(
    row: Pack, whole: SetFacts, facts: PackFacts, *, kind: LabelKind, by_date: bool
) -> PackLabel | Refused:
    number = f"{row.number}-{row.round}"
    trays = len(whole.packs) + len(whole.missing_trays)
    refuse = refusing(row.pk, f"{number}, {whole.design}")
    if row.state not in LABELLED_STATES:
        return refuse(
            _("The pack is %(state)s: it gets its label when it is packed.")
            % {"state": state_word(row.state)}
        )
    if not row.giai:
        return refuse(_("The pack has no asset number on file."))
    try:
        payload = ours.pack_label("", row.giai, str(row.round))
    except Malformed as why:
        return refuse(str(why))
    packed = site_day(row.set.site, row.packed_at) if row.packed_at else None
    design: SetDesign = row.set.version.design
    return PackLabel(
        row_id=row.pk,
        called=number,
        payload=payload,
        name=whole.design,
        number=number,
        set_code=whole.code,
        tray=_("tray %(n)s of %(all)s") % {"n": row.tray, "all": trays},
        contents_list=_("v %(version)s") % {"version": whole.version},
        load=row.load,
        weight=_("%(kg)s kg") % {"kg": f"{row.weight_grams / 1000:.1f}"} if row.weight_grams else "",
        packed_by=row.packed_by.name if row.packed_by else "",
        packed_on=day_words(packed),
        short_count=sum(lack.missing for lack in facts.lacks),
        short=tuple(_lack_words(lack) for lack in facts.lacks),
        sterile_until=day_words(row.sterile_until),
        released=row.state in Pack.READY,
        by_date=by_date,
        method=design.method,
        barrier=design.barrier,
        kind=kind,
    )


def _lack_words(lack: Lack) -> str:
    return f"{lack.missing} × {lack.name}" if lack.missing > 1 else lack.name


def sets_of_packs(rows: QuerySet[Any]) -> tuple[Group, ...]:
    """The packs by their sets. One query."""
    found: dict[tuple[str, str], set[int]] = defaultdict(set)
    for code, name, pk in rows.values_list("set__code", "set__version__design__name", "pk"):
        found[code, f"{code}, {name}"].add(pk)
    return tuple(Group(code, name, frozenset(ids)) for (code, name), ids in found.items())


_CAUTION = gettext_lazy(
    "A label does not make a pack sterile: release follows local policy. "
    "Before use check pack, indicator, date and label with your own eyes."
)
_GROUPS = (gettext_lazy("Packs of one set"), gettext_lazy("all sets"))

register(
    Source(
        kind=LabelKind.PACK,
        words=gettext_lazy("Packs"),
        act="print_labels",
        subject="pack",
        site="set__site",
        rows=packs,
        labels=pack_labels,
        caution=_CAUTION,
        groups=sets_of_packs,
        group_words=_GROUPS,
    )
)
register(
    Source(
        kind=LabelKind.INSTRUMENT,
        words=gettext_lazy("Single instruments"),
        act="print_labels",
        subject="pack",
        site="set__site",
        rows=instruments,
        labels=instrument_labels,
        caution=_CAUTION,
    )
)
