"""Background work of labels: runs of more than one file."""

from django.utils import timezone
from django_tasks import task

from trays.labels.models import LabelRun
from trays.labels.services import run_make


@task()
def make_labels(run_id: int) -> str:
    """Make the files of a run that waits; the state it came to. A run that is gone or made is left alone."""
    run = LabelRun.objects.select_related("by", "site").filter(pk=run_id).first()
    if run is None:
        return "gone"
    return str(run_make(run=run, at=timezone.now()).state)
