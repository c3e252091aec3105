"""What of a count stands open before the case can close, in the order of the count."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from django.utils.translation import gettext as _

from cases.counts.kinds_count import DiscrepancyPicture, Gap, Rival, StageState
from cases.counts.models_counts import StageState as S
from cases.counts.models_templates import StageKind
from cases.counts.rows import CountRows

SIGNATURES = ("unsigned", "discrepancy-unsigned")
"""Codes of gaps that only want a signature; the count itself is done."""


def gaps_of(
    rows: CountRows,
    stages: Sequence[StageState],
    discrepancies: Sequence[DiscrepancyPicture],
    rivals: Sequence[Rival],
) -> tuple[Gap, ...]:
    """Stages not ended, follow-ups, discrepancies, numbers that came late, what came on since, signatures."""
    found = [gap for stage in stages for gap in _of_stage(stage)]
    found += list(_of_discrepancies(discrepancies))
    found += list(_since_the_last(rows))
    if rows.pause is not None:
        found.append(Gap("paused", _("The count was interrupted and has not gone on.")))
    names = {line.pk: line.name for line in rows.lines}
    found += [
        Gap(
            "late-entry",
            _("%(what)s: %(n)s came from another device when %(other)s had been agreed; count it once more.")
            % {"what": names[one.line], "n": one.counted, "other": one.other},
            stage=one.stage,
            line=one.line,
        )
        for one in rivals
        if one.after_close
    ]
    return tuple(found)


def _of_stage(stage: StageState) -> Iterator[Gap]:
    if stage.state in (S.WAITING, S.OPEN):
        yield Gap("stage-open", _("%(stage)s has not been closed.") % {"stage": stage.word}, stage=stage.pk)
        return
    if stage.state == S.NOT_DONE and stage.followed_at is None:
        yield Gap(
            "follow-up-open",
            _("%(stage)s was not done; what was to follow is open: %(what)s.")
            % {"stage": stage.word, "what": stage.follow_up},
            stage=stage.pk,
        )
    if stage.unsigned:
        yield Gap(
            "unsigned",
            _("%(stage)s is not signed by everyone yet.") % {"stage": stage.word},
            stage=stage.pk,
        )


def _of_discrepancies(discrepancies: Sequence[DiscrepancyPicture]) -> Iterator[Gap]:
    for one in discrepancies:
        about = {"what": one.name}
        if one.state == "open":
            yield Gap(
                "discrepancy-open", _("The discrepancy of %(what)s is open.") % about,
                stage=one.stage, line=one.line,
            )  # fmt: skip
            continue
        wanted = {person.pk for person in (one.first, one.second) if person is not None}
        if wanted - set(one.signed):
            yield Gap(
                "discrepancy-unsigned",
                _("The discrepancy of %(what)s is settled aloud; not both have signed.") % about,
                stage=one.stage, line=one.line,
            )  # fmt: skip


def _since_the_last(rows: CountRows) -> Iterator[Gap]:
    """What came on after the final count: it asks for one count more."""
    ended = [stage for stage in rows.stages if stage.state == S.CLOSED and stage.ended_at is not None]
    finals = [stage for stage in ended if stage.kind == StageKind.FINAL]
    if not finals:
        return
    since = [
        stage for stage in ended
        if stage.ended_at is not None and finals[-1].ended_at is not None
        and stage.ended_at >= finals[-1].ended_at
    ]  # fmt: skip
    for line in rows.lines:
        own = rows.added.get(line.pk, ())
        counted = [stage for stage in since if line.klass in rows.counts_what.get(stage.pk, ())]
        upto = max((stage.upto.get("added", 0) for stage in counted), default=0)
        newest = max((one.pk for one in own), default=0)
        if newest > upto and counted:
            yield Gap(
                "changed-since",
                _("%(what)s changed after the final count; one more count is needed.") % {"what": line.name},
                line=line.pk,
            )
