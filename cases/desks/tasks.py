"""Background work of the desks: the check of a large file."""

from django.utils import timezone
from django_tasks import task

from cases.desks.importing import import_check_waiting
from trays.exchange.models import ImportRun


@task()
def check_waiting(run_id: int) -> str:
    """Check a file that waits in staging; the state it came to. A run that is gone or done is left alone."""
    run = ImportRun.objects.select_related("by").filter(pk=run_id).first()
    if run is None:
        return "gone"
    return str(import_check_waiting(run=run, at=timezone.now()).state)
