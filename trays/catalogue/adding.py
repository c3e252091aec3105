"""From a draft to the catalogue: the code on file, with its item, made if it is new."""

import re

from django.db.models import Max, QuerySet
from django.utils.translation import gettext as _

from trays.catalogue.models import Component, Family, PackLevel
from trays.catalogue.models_drafts import CatalogueDraft
from trays.web.errors import Refusal


def component_add_within(draft: CatalogueDraft) -> Component:
    """Put the code of a draft on file, within the act that approves it; return the item it stands for.

    A new size stands last in its family: where sizes lie between others is said by an import.

    Raises Refusal "code-known", "no-family", "size-known" (with the item it is), "no-supplier".
    """
    if PackLevel.objects.filter(code=draft.code).exists():
        raise Refusal(
            "code-known", _("This code has come onto file meanwhile."), _("Turn this draft down.")
        )
    component = draft.component or _new_component(draft)
    PackLevel.objects.create(code=draft.code, component=component, quantity=draft.quantity)
    return component


def _new_component(draft: CatalogueDraft) -> Component:
    if draft.supplier is None:
        raise Refusal("no-supplier", _("No supplier is named."), _("Say who supplies it."))
    family = draft.family or _new_family(draft)
    rows = Component.objects.filter(family=family)
    rank, second_rank = _rank(rows, "size", draft.size), _rank(rows, "second", draft.second)
    same = rows.filter(side=draft.side, size_rank=rank, second_rank=second_rank).first()
    if same is not None:
        raise Refusal(
            "size-known",
            _("%(family)s has this size already: %(what)s.") % {"family": family, "what": same},
            _("Say that it is another code of that item."),
        )
    return Component.objects.create(
        family=family, code=_code_for(draft), name=draft.name or draft.code, size=draft.size,
        size_rank=rank, second=draft.second, second_rank=second_rank, side=draft.side,
        supplier=draft.supplier,
    )  # fmt: skip


def _rank(rows: QuerySet[Component], name: str, label: str) -> int:
    """The rank that the label has in the family, or the next one."""
    known = rows.filter(**{name: label}).values_list(f"{name}_rank", flat=True).first()
    if known is not None:
        return int(known)
    newest = rows.aggregate(newest=Max(f"{name}_rank"))["newest"]
    return 0 if newest is None else int(newest) + 1


def _new_family(draft: CatalogueDraft) -> Family:
    name = draft.new_family.strip()
    if not name:
        raise Refusal("no-family", _("No family is named."), _("Choose one, or name a new one."))
    code = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:36] or f"family-{draft.pk}"
    if Family.objects.filter(code=code).exists():
        code = f"{code[:30]}-{draft.pk}"
    return Family.objects.create(
        code=code, name=name, kind=draft.kind, sided=draft.side in ("left", "right")
    )


def _code_for(draft: CatalogueDraft) -> str:
    """The item's own code: its trade code, which nobody else has."""
    taken = Component.objects.filter(code=draft.code).exists()
    return f"{draft.code[:32]}-{draft.pk}" if taken else draft.code
