"""One case laid out for its page: size range pictures per slot, and its sets with their state."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.readiness.facts import ComponentFacts, SlotFacts, Snapshot, comes_back
from cases.readiness.kinds import PickSlot
from cases.readiness.laws import CaseLaw, SlotPart
from cases.readiness.picture import (
    Column,
    Picture,
    SetBracket,
    cells_in_order,
    on_order_cells,
    size_picture,
)
from cases.readiness.reasons import Speaker
from cases.readiness.way_words import because_words, in_time_words
from trays.catalogue.words import side_in_text
from trays.instruments.ready import SetFacts

SHOWN_CHANCE = 0.005


@dataclass(frozen=True, slots=True)
class SlotPicture:
    """A slot's picture with its side; `note` says what the chances rest on."""

    label: str
    side: str
    contingency: bool
    picture: Picture


@dataclass(frozen=True, slots=True)
class SetLine:
    """One set on the case's page. `why` says why it cannot be had, "" if it can.

    Of one that is being processed `ready_by` says by when, how likely by the start, and for what reason.
    """

    code: str
    design: str
    need: str
    packs: str
    place: str
    chosen: bool
    contingency: bool
    why: str
    ready_by: str


@dataclass(frozen=True, slots=True)
class PredictionLine:
    """The newest prediction of a slot in words; `sizes` is "" where nobody has made one."""

    label: str
    side: str
    sizes: str
    confidence: float | None
    method: str
    planner: str
    made_at: datetime | None
    count: int


def prediction_line(snapshot: Snapshot, slot: SlotFacts, side: str) -> PredictionLine:
    """What was predicted for a slot, with the family's own words for the sizes."""
    made = slot.prediction
    if made is None:
        return PredictionLine(slot.name, side, "", None, "", "", None, 0)
    labels = {row.size_rank: row.size for row in snapshot.by_family.get(slot.family_id, ())}
    ends = [labels.get(rank, str(rank)) for rank in (made.low, made.high)]
    sizes = ends[0] if ends[0] == ends[1] else _("%(low)s to %(high)s") % {"low": ends[0], "high": ends[1]}
    return PredictionLine(
        slot.name,
        side,
        sizes,
        made.confidence if made.low != made.high else None,
        made.method_words,
        made.planner,
        made.made_at,
        slot.predictions,
    )


def slot_pictures(
    snapshot: Snapshot, law: CaseLaw, run: Sequence[PickSlot], speaker: Speaker
) -> list[SlotPicture]:
    """A picture per slot of each side; one more for a contingency family that has a chance."""
    found: list[SlotPicture] = []
    chances = [chance for construct in law.constructs for chance in construct.marginals]
    for number, slot in enumerate(law.slots):
        by_id = dict(zip((row.id for row in slot.components), chances[number].tolist(), strict=True))
        brought = {size.component_id for size in run[number].sizes} if number < len(run) else set()
        for family in dict.fromkeys(row.family_id for row in slot.components):
            rows = [row for row in slot.components if row.family_id == family]
            spare = family != slot.facts.family_id
            if spare and not any(by_id[row.id] > 0 for row in rows):
                continue
            picture = _picture(
                snapshot, law, slot, rows, by_id, brought, speaker, key=f"p{len(found) + 1}", spare=spare
            )
            found.append(SlotPicture(slot.facts.name, slot.side, spare, picture))
    return found


def _picture(
    snapshot: Snapshot,
    law: CaseLaw,
    slot: SlotPart,
    rows: Sequence[ComponentFacts],
    chances: dict[int, float],
    brought: set[int],
    speaker: Speaker,
    *,
    key: str,
    spare: bool,
) -> Picture:
    family = snapshot.families[rows[0].family_id]
    two_measures = any(row.second for row in rows)
    if two_measures:
        rows = _worth_drawing(rows, chances, brought)
    columns = tuple(
        Column(
            label=row.second if two_measures else row.size,
            measure=min(1.0, chances[row.id]),
            cells=cells_in_order(
                snapshot.units.get(row.id, ()),
                owner_order=snapshot.policy.owner_order,
                day=law.facts.day,
                case_id=law.facts.id,
                list_id=law.facts.list_id,
            )
            + on_order_cells(snapshot.coming.get(row.id, ()), law.facts.day),
            group=_("%(slot)s size %(size)s") % {"slot": slot.facts.name, "size": row.size}
            if two_measures
            else "",
        )
        for row in rows
    )
    name = family.name if spare else slot.facts.name
    side = side_in_text(slot.side)
    title = _("%(slot)s: likelihood and stock by size") % {"slot": ", ".join(w for w in (name, side) if w)}
    return size_picture(
        title=title,
        columns=columns,
        runs=_runs(columns, [row.id in brought for row in rows]),
        sets=_brackets(snapshot, law, rows, speaker),
        key=key,
        row=_second_words(family.second_measure) if two_measures else _("Size"),
    )


def _second_words(measure: str) -> str:
    return measure[:1].upper() + measure[1:] if measure and len(measure) <= 9 else _("mm")


def _worth_drawing(
    rows: Sequence[ComponentFacts], chances: dict[int, float], brought: set[int]
) -> list[ComponentFacts]:
    """Of a family with two measures the sizes that may be used or are brought, each with all its second
    ones."""
    mass: dict[int, float] = {}
    for row in rows:
        mass[row.size_rank] = mass.get(row.size_rank, 0.0) + chances[row.id]
    kept = {rank for rank, chance in mass.items() if chance >= SHOWN_CHANCE}
    kept |= {row.size_rank for row in rows if row.id in brought}
    if not kept:
        most = max(mass.values())
        kept = {rank for rank, chance in mass.items() if chance >= most / 10}
    return [row for row in rows if row.size_rank in kept]


def _runs(columns: Sequence[Column], brought: Sequence[bool]) -> list[tuple[int, int]]:
    """From the first to the last column brought, group by group."""
    found: dict[str, tuple[int, int]] = {}
    for number, (column, there) in enumerate(zip(columns, brought, strict=True)):
        if there:
            first, _last = found.get(column.group, (number, number))
            found[column.group] = (first, number)
    return list(found.values())


def _brackets(
    snapshot: Snapshot, law: CaseLaw, rows: Sequence[ComponentFacts], speaker: Speaker
) -> list[SetBracket]:
    """One bracket per design that serves a run of this family, with the set that can be had or why none
    can."""
    family = rows[0].family_id
    found = []
    wanted = dict.fromkeys(
        design for need in snapshot.plans[law.facts.plan_id].needs for design in need.designs
    )
    for design in wanted:
        run = snapshot.designs[design].serves.get(family)
        if run is None:
            continue
        inside = [number for number, row in enumerate(rows) if run[0] <= row.size_rank <= run[1]]
        if not inside:
            continue
        sets = [row for row in snapshot.sets if row.design_id == design]
        free = [row for row in sets if not why_not(row, law, speaker)]
        if free:
            words = _("%(code)s ready") % {"code": free[0].code}
            if len(free) > 1:
                words += " " + ngettext("and %(n)d more", "and %(n)d more", len(free) - 1) % {
                    "n": len(free) - 1
                }
        elif sets:
            words = why_not(sets[0], law, speaker)
        else:
            words = _("%(name)s: no such set here") % {"name": snapshot.designs[design].name}
        found.append(SetBracket(words, inside[0], inside[-1], bool(free)))
    return found


def why_not(row: SetFacts, law: CaseLaw, speaker: Speaker) -> str:
    """Why the case cannot have the set, in words; "" if it can."""
    state = speaker.set_state(row, law)
    if state:
        return state
    holds = speaker.holds_against(row, law)
    if holds:
        reference = speaker.snapshot.references.get(holds[0].case_id or 0, "")
        if reference:
            return _("%(code)s is held for case %(case)s") % {"code": row.code, "case": reference}
        return _("%(code)s is held for another list") % {"code": row.code}
    return ""


def _ready_by(row: SetFacts, law: CaseLaw, snapshot: Snapshot) -> str:
    found = snapshot.estimate(row) if comes_back(row) else None
    if found is None:
        return ""
    # Of one that is late the chance is said already.
    late = found.at is None or found.at > law.start
    return because_words(found) if late else f"{in_time_words(found, law.start)}: {because_words(found)}"


def _packs_words(row: SetFacts, day: date) -> str:
    """How many of its packs are ready on the day, of all that its contents list asks for."""
    ready = sum(pack.ready_on(day) for pack in row.packs)
    return _("%(ready)d of %(all)d") % {"ready": ready, "all": len(row.packs) + len(row.missing_trays)}


def set_lines(snapshot: Snapshot, law: CaseLaw, set_ids: Sequence[int], speaker: Speaker) -> list[SetLine]:
    """The sets chosen for the case; for a need with none, every set that might meet it, with what stands
    against."""
    found = []
    shown: set[int] = set()
    for need in snapshot.plans[law.facts.plan_id].needs:
        rows = [row for row in snapshot.sets if row.design_id in need.designs and row.pk not in shown]
        chosen = [row for row in rows if row.pk in set_ids]
        for row in chosen or rows:
            shown.add(row.pk)
            found.append(
                SetLine(
                    code=row.code,
                    design=snapshot.designs[row.design_id].name,
                    need=need.name,
                    packs=_packs_words(row, law.facts.day),
                    place=row.packs[0].place if row.packs else "",
                    chosen=bool(chosen),
                    contingency=need.contingency,
                    why=why_not(row, law, speaker),
                    ready_by=_ready_by(row, law, snapshot),
                )
            )
    return found
