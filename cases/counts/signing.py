"""Signing the count after unscrubbing: each person with their own badge and PIN, on a shared screen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts.acting import Act, Done, count_once
from cases.counts.content import discrepancy_content, stage_content
from cases.counts.kinds_count import Gap
from cases.counts.kinds_template import SEATS
from cases.counts.models_counts import Stage, StageSigning, StageState, TheatreCount
from cases.counts.models_discrepancies import Discrepancy, DiscrepancyState
from cases.counts.settling import discrepancy_sign
from cases.counts.state import count_state
from trays.ledger.append import Line
from trays.staff.models import Meaning, Person, RoleKind, Signature
from trays.staff.signing import Signer, holds, second_may, sign
from trays.web.errors import Refusal

ENDED = (StageState.CLOSED, StageState.NOT_DONE)


def stages_sign(
    *,
    by: Person,
    case: Case,
    signer: Signer,
    seat: str,
    at: datetime,
    stages: Sequence[int] | None = None,
    client_key: UUID | None = None,
) -> list[StageSigning]:
    """A person signs the stages that they counted in one place, and the discrepancies they settled.

    `by` is whose session the screen is in, `signer` whose PIN was just found right. Without `stages` all are
    signed that have ended, that nobody has signed in this place, and that this person counted. Raises Refusal
    "no-such-seat", "second-may-not", "nothing-to-sign", "not-who-counted" (somebody else agreed aloud),
    "signed-already", "signs-as-another" (this person has signed the stage in another place).
    """
    act = Act(by, at, client_key)

    def work(count: TheatreCount) -> Done[list[StageSigning]]:
        if seat not in SEATS:
            raise Refusal(
                "no-such-seat", _("Nobody signs in that place."), _("Choose scrub, circulating or surgeon.")
            )
        second_may(signer, act="sign_record", site_id=case.site_id)
        chosen = _chosen(count, signer.person, seat, stages)
        made, lines = [], []
        for stage in chosen:
            made.append(_sign(stage, signer, seat, at))
            lines.append(Line("stage", stage.pk, stage.state, "signed"))
        lines += [discrepancy_sign(one, signer, at) for one in _settled_by(count, signer.person)]
        if not lines:
            raise Refusal(
                "nothing-to-sign",
                _("There is nothing that %(name)s has counted and not signed.")
                % {"name": signer.person.name},
                _("Look at who agreed at each stage."),
            )
        return Done(made, lines, {"signings": [one.pk for one in made]})

    return count_once(
        act, case, "count.sign", work,
        lambda answer: list(StageSigning.objects.filter(pk__in=answer["signings"]).order_by("pk")),
        role="see_theatre",
    )  # fmt: skip


def _chosen(count: TheatreCount, person: Person, seat: str, stages: Sequence[int] | None) -> list[Stage]:
    rows = Stage.objects.filter(count=count, state__in=ENDED).order_by("number", "turn")
    if stages is None:
        return [stage for stage in rows if _why_not(stage, person, seat) is None]
    chosen = [stage for stage in rows if stage.pk in stages]
    if len(chosen) != len(set(stages)):
        raise Refusal("not-ended", _("A stage that has not ended cannot be signed."), _("Close it first."))
    for stage in chosen:
        refusal = _why_not(stage, person, seat)
        if refusal is not None:
            raise refusal
    return chosen


def _why_not(stage: Stage, person: Person, seat: str) -> Refusal | None:
    """Why this person does not sign this stage in this place; None where they do."""
    if seat not in stage.signers:
        return Refusal(
            "no-such-seat",
            _("%(stage)s is not signed in that place.") % {"stage": stage.word},
            _("Choose another."),
        )
    own = {one.seat: one.person_id for one in stage.signings.all()}
    if seat in own:
        return Refusal(
            "signed-already", _("%(stage)s is signed already.") % {"stage": stage.word}, _("Nothing to do.")
        )
    if person.pk in own.values():
        return Refusal(
            "signs-as-another",
            _("%(name)s has signed %(stage)s in another place already.")
            % {"name": person.name, "stage": stage.word},
            _("Two different people sign each stage."),
        )
    if not _counted(stage, person, seat):
        return Refusal(
            "not-who-counted",
            _("Somebody else agreed aloud at %(stage)s.") % {"stage": stage.word},
            _("Let the person sign who counted."),
        )
    return None


def _counted(stage: Stage, person: Person, seat: str) -> bool:
    """Whether it was this person who agreed in this place; by name where paper has only a name."""
    agreed = {
        RoleKind.SCRUB_NURSE: (stage.scrub_id, stage.scrub_name),
        RoleKind.CIRCULATING_NURSE: (stage.circulating_id, stage.circulating_name),
    }.get(RoleKind(seat))
    if agreed is None:
        return any(role.kind == seat for role in person.roles.all())
    pk, name = agreed
    if pk is not None:
        return pk == person.pk
    # Nobody is on file for a stage that was not done: whoever says it was so signs it.
    return name.strip().casefold() == person.name.strip().casefold() if name else True


def _sign(stage: Stage, signer: Signer, seat: str, at: datetime) -> StageSigning:
    meaning = Meaning.COUNTED if stage.state == StageState.CLOSED else Meaning.NOT_DONE
    signature = sign(
        by=signer, meaning=meaning, subject="stage", subject_id=stage.pk, content=stage_content(stage), at=at
    )
    return StageSigning.objects.create(stage=stage, seat=seat, person=signer.person, signature=signature)


def _settled_by(count: TheatreCount, person: Person) -> list[Discrepancy]:
    rows = Discrepancy.objects.filter(
        stage__count=count, state=DiscrepancyState.SETTLED, stage__state__in=ENDED
    )
    own = [one for one in rows if person.pk in (one.first_id, one.second_id)]
    signed = set(
        Discrepancy.objects.filter(signings__person=person, stage__count=count).values_list("pk", flat=True)
    )
    return [one for one in own if one.pk not in signed]


def signature_shows(signature: Signature) -> bool:
    """Whether what was signed is still what is on file; any row altered, and it does not show as valid."""
    content: dict[str, Any]
    if signature.subject == "stage":
        stage = Stage.objects.filter(pk=signature.subject_id).first()
        content = stage_content(stage) if stage is not None else {}
    else:
        one = Discrepancy.objects.filter(pk=signature.subject_id).first()
        content = discrepancy_content(one) if one is not None else {}
    return holds(signature, content)


def signatures_of(count: TheatreCount) -> list[tuple[Signature, bool]]:
    """Every signature of a count in the order they were given, each with whether it still holds."""
    stages = StageSigning.objects.filter(stage__count=count).values_list("signature", flat=True)
    settled = Discrepancy.objects.filter(stage__count=count, signings__isnull=False)
    rows = Signature.objects.filter(pk__in=[*stages, *settled.values_list("signings__signature", flat=True)])
    return [(row, signature_shows(row)) for row in rows.order_by("signed_at", "pk")]


def count_gaps(case: Case) -> tuple[Gap, ...]:
    """What stands open of the count before the case can close: in words, in the order of the count."""
    state = count_state(case)
    return state.gaps if state is not None else (Gap("not-opened", _("The count has not been opened.")),)
