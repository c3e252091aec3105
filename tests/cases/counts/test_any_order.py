"""Whatever is done in whatever order: a stage closes only balanced or settled, and the sums hold."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from cases.counts import adding, counting, staging
from cases.counts.figures import figures_of, should_be
from cases.counts.models_counts import Added, CountLine, Entry, LeftIn, Stage, StageState
from cases.counts.models_discrepancies import Discrepancy
from tests.cases.counts.theatre import Theatre, a_theatre, key
from tests.world import World
from trays.ledger.queries import verify
from trays.web.errors import Refusal

pytestmark = pytest.mark.django_db

DEVICES = [None, key(), key()]
ACTS = st.lists(
    st.tuples(
        st.sampled_from(
            ["begin", "add", "count", "count", "right", "recount", "close", "close", "open", "settle", "left",
             "correct", "not_done", "more"]
        ),
        st.integers(0, 2),
        st.integers(0, 3),
        st.sampled_from(DEVICES),
        st.booleans(),
    ),
    min_size=6,
    max_size=22,
)  # fmt: skip


class Undo(Exception):
    """Takes one example back."""


def the_way(theatre: Theatre) -> dict[str, Callable[..., Any]]:
    lines = [theatre.line(name).pk for name in ("Gauze", "Blade", "Pin")]

    def stage() -> int:
        row = Stage.objects.filter(count__case=theatre.case, state="open").first()
        return row.pk if row else Stage.objects.filter(count__case=theatre.case).order_by("number").first().pk

    def waiting() -> int:
        row = Stage.objects.filter(count__case=theatre.case, state="waiting").order_by("number").first()
        return row.pk if row else stage()

    def count(which: int, n: int, device: Any, knows: bool) -> None:
        newest = Entry.objects.filter(line=lines[which], stage=stage()).order_by("-pk").first()
        seen = newest.pk if newest and knows else None
        counting.count_enter(
            **theatre.said(line=lines[which], stage=stage(), counted=n, seen=seen, device=device)
        )

    def right(which: int, n: int, device: Any, knows: bool) -> None:
        for figure in figures_of(Stage.objects.get(pk=stage())):
            counting.count_enter(
                **theatre.said(
                    line=figure.line,
                    stage=stage(),
                    counted=figure.should_be,
                    seen=figure.newest,
                    device=device,
                )
            )

    def settle(which: int, n: int, device: Any, knows: bool) -> None:
        for one in Discrepancy.objects.filter(state="open"):
            theatre.steps(one, 1, 2, 3, 4, 5)
            theatre.settle(one, "found" if knows else "not_found")

    def open_one(which: int, n: int, device: Any, knows: bool) -> None:
        from cases.counts import settling

        settling.discrepancy_open(**theatre.said(stage=stage(), line=lines[which]))

    def correct(which: int, n: int, device: Any, knows: bool) -> None:
        last = Added.objects.filter(line=lines[which], quantity__gt=0, corrected__isnull=True).last()
        adding.added_correct(**theatre.said(added=last.pk if last else 0, reason="slip"))

    two = {"scrub": theatre.scrub, "circulating": theatre.circulating}
    return {
        "begin": lambda *_: counting.stage_begin(**theatre.said(stage=waiting())),
        "add": lambda which, n, device, knows: adding.added_record(
            **theatre.said(line=lines[which], quantity=n, as_found=True, device=device)
        ),
        "count": count,
        "right": right,
        "recount": lambda which, *_: counting.stage_recount(
            **theatre.said(stage=stage(), klass=("soft", "sharp", "small")[which])
        ),
        "close": lambda *_: staging.stage_close(**theatre.said(stage=stage(), **two)),
        "open": open_one,
        "settle": settle,
        "left": lambda which, n, *_: adding.left_in(
            **theatre.said(line=lines[which], quantity=n, plan="Out", decided_by="Ms Surgeon")
        ),
        "correct": correct,
        "not_done": lambda *_: staging.stage_not_done(
            **theatre.said(stage=stage(), reason="Bleeding", follow_up="X-ray", decided_by="Ms Surgeon")
        ),
        "more": lambda *_: staging.count_ask(**theatre.said()),
    }


def the_law_holds(theatre: Theatre) -> None:
    """Judged from the rows alone, by another road than the services and the triggers take."""
    for line in CountLine.objects.filter(count__case=theatre.case):
        came = sum(Added.objects.filter(line=line).values_list("quantity", flat=True))
        left = sum(LeftIn.objects.filter(line=line).values_list("quantity", flat=True))
        assert should_be([line.pk])[line.pk] == came - left >= 0
    state = theatre.state()
    if state.current is None:
        assert sum(line.should_be for line in state.lines) == sum(row.should_be for row in state.board)
    for stage in Stage.objects.filter(count__case=theatre.case, state=StageState.CLOSED):
        for line in CountLine.objects.filter(
            count__case=theatre.case, pk__lte=stage.upto["line"], klass__in=stage.classes.values("klass")
        ):
            came = sum(
                Added.objects.filter(line=line, pk__lte=stage.upto["added"]).values_list(
                    "quantity", flat=True
                )
            )
            left = sum(
                LeftIn.objects.filter(line=line, pk__lte=stage.upto["left_in"]).values_list(
                    "quantity", flat=True
                )
            )
            last = Entry.objects.filter(line=line, stage=stage, after_close=False).last()
            assert last is not None and not last.conflict
            settled = Discrepancy.objects.filter(
                stage=stage, line=line, state="settled", settled_counted=last.counted,
                settled_expected=came - left,
            ).exclude(first=None).exclude(second=None)  # fmt: skip
            assert last.counted == came - left or settled.exists()


@settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    derandomize=True,
)
@given(acts=ACTS)
@example(
    acts=[(name, 0, 5, None, True) for name in ("add", "right", "close", "begin", "add", "count", "close")]
)
def test_a_stage_closes_only_balanced_or_settled_whatever_comes(world: World, acts: list[Any]) -> None:
    try:
        with transaction.atomic():
            theatre = a_theatre(world)
            way = the_way(theatre)
            for name, which, n, device, knows in [("begin", 0, 0, None, True), *acts]:
                try:
                    way[name](which, n, device, knows)
                except Refusal:
                    continue
                if name == "close":
                    the_law_holds(theatre)
            the_law_holds(theatre)
            assert verify() == []
            raise Undo
    except Undo:
        pass
