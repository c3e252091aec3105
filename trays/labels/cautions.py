"""What stands beside labels: short, where they are made, and on the test page of a sheet."""

from django.utils.translation import gettext as _

from trays.labels.kinds import LabelKind
from trays.labels.sources import source_of


def cautions(kind: LabelKind) -> tuple[str, ...]:
    """The sentences for one kind, the one about this kind first."""
    own = str(source_of(kind).caution)
    return (own, _("Scan one label of each print before the others are stuck on."))
