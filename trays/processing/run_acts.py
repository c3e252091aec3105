"""What every act on a run shares: its row locked behind its machine's, its event, done once."""

from collections.abc import Callable
from datetime import datetime
from uuid import UUID

from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.processing.machines import lock_machine
from trays.processing.models_machines import Run
from trays.staff.models import Person


def locked_run(run: Run) -> Run:
    """The run, locked after its machine: packs come after both."""
    lock_machine(run.machine)
    rows = Run.objects.select_for_update(of=("self",)).select_related("programme", "machine__site")
    return rows.get(pk=run.pk)


def write_run(
    run: Run, verb: str, by: Person, at: datetime, client_key: UUID | None, lines: list[Line]
) -> None:
    """The act's one event; last in its transaction."""
    record(
        chain=run.machine.site.code, verb=verb, by=by, at=at, place_id=run.machine.place_id,
        client_key=client_key, answer={"run": run.pk}, lines=lines,
    )  # fmt: skip


def run_once(verb: str, by: Person, client_key: UUID | None, work: Callable[[], Run]) -> Run:
    """Do an act on a run once; a repeat gets the run as it is now."""
    return act_once(
        verb=verb,
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Run.objects.select_related("machine__site", "programme").get(pk=answer["run"]),
    )
