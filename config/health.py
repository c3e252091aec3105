"""Two plain answers for whoever watches the process; neither tells a secret."""

from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.http import require_safe

from trays.ledger.guards import missing


@require_safe
@login_not_required
def healthz(request: HttpRequest) -> HttpResponse:
    """The process answers."""
    return HttpResponse("ok\n", content_type="text/plain")


@require_safe
@login_not_required
def readyz(request: HttpRequest) -> HttpResponse:
    """The database answers, is fully migrated, and every law kept by a trigger is in force."""
    try:
        executor = MigrationExecutor(connection)
        waiting = len(executor.migration_plan(executor.loader.graph.leaf_nodes()))
        lifted = missing(connection)
    except DatabaseError:
        return JsonResponse({"ready": False, "database": "no answer"}, status=503)
    ready = not waiting and not lifted
    return JsonResponse(
        {"ready": ready, "database": "ok", "migrations_waiting": waiting, "guards_missing": lifted},
        status=200 if ready else 503,
    )
