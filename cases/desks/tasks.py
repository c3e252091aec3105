"""Background work of the desks: the check of a large file, and applying a long one."""

from django.utils import timezone
from django_tasks import task

from cases.desks.importing import import_apply_waiting, import_check_waiting
from trays.exchange.models import ImportRun
from trays.staff.models import Person


@task()
def check_waiting(run_id: int) -> str:
    """Check a file that waits in staging; the state it came to. A run that is gone or done is left alone."""
    run = ImportRun.objects.select_related("by").filter(pk=run_id).first()
    if run is None:
        return "gone"
    return str(import_check_waiting(run=run, at=timezone.now()).state)


@task()
def apply_waiting(run_id: int, person_id: int) -> str:
    """Apply a file that was left to the worker, as the person who pressed; the state it came to."""
    run = ImportRun.objects.filter(pk=run_id).first()
    by = Person.objects.filter(pk=person_id).first()
    if run is None or by is None:
        return "gone"
    return str(import_apply_waiting(run=run, by=by, at=timezone.now()).state)
