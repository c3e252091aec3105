"""What stands beside labels: short, where they are made, and on the test page of the A4 sheet."""

from django.utils.translation import gettext as _

from trays.labels.kinds import LabelKind


def cautions(kind: LabelKind) -> tuple[str, ...]:
    """The sentences for one kind, the one about this kind first."""
    own = {
        LabelKind.PACK: _(
            "A label does not make a pack sterile: release follows local policy. "
            "Before use check pack, indicator, date and label with your own eyes."
        ),
        LabelKind.SHELF: _("Compare each label with the shelf before it is stuck on."),
        LabelKind.UNIT: _(
            "Stick it beside the maker’s label, never over it, and compare both: the maker’s label counts."
        ),
    }[kind]
    return (own, _("Scan one label of each print before the others are stuck on."))
