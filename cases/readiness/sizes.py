"""What the likelihood of a case's sizes rests on, slot by slot and pair by pair, for its page."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.forecasts.learnt import ErrorLaw
from cases.planning.learning import ENOUGH_GROUPS, ENOUGH_OUTCOMES
from cases.planning.learning_pairs import ENOUGH_CASES, Association
from cases.planning.parts import Ints
from cases.readiness.cells import cells_in_order
from cases.readiness.drawn import PredictionLine, SlotPicture, prediction_line
from cases.readiness.errors_picture import errors_picture, mean_error
from cases.readiness.facts import ComponentFacts, Snapshot
from cases.readiness.laws import CaseLaw, ConstructLaw
from cases.readiness.matrix import FITS, REFUSED, UNKNOWN, Square, square_picture
from cases.readiness.pairing import Pairing
from cases.readiness.parts import SlotPart
from cases.readiness.picture import Picture
from trays.catalogue.words import side_in_text


@dataclass(frozen=True, slots=True)
class SlotBasis:
    """One slot: what was predicted, what its law rests on in sentences, and its pictures."""

    label: str
    side: str
    prediction: PredictionLine | None
    said: tuple[str, ...]
    errors: Picture | None
    pictures: tuple[SlotPicture, ...]


@dataclass(frozen=True, slots=True)
class PairBasis:
    """Two linked slots: whether their errors go together, and the chance of each pair of sizes."""

    label: str
    side: str
    said: tuple[str, ...]
    picture: Picture


def slot_bases(snapshot: Snapshot, law: CaseLaw, pictures: Sequence[SlotPicture]) -> list[SlotBasis]:
    """Every slot of every side; `pictures` as `drawn.slot_pictures` gives them, contingencies after their
    slot."""
    starts = [n for n, picture in enumerate(pictures) if not picture.contingency]
    ends = [*starts[1:], len(pictures)]
    found = []
    for number, (slot, start, end) in enumerate(zip(law.slots, starts, ends, strict=True)):
        errors = slot.basis.errors
        found.append(
            SlotBasis(
                label=slot.facts.name,
                side=slot.side,
                prediction=prediction_line(snapshot, slot.facts, slot.side) if slot.facts.predicted else None,
                said=tuple(_basis_words(slot)),
                errors=_errors(slot, errors, number) if errors else None,
                pictures=tuple(pictures[start:end]),
            )
        )
    return found


def pair_bases(snapshot: Snapshot, law: CaseLaw) -> list[PairBasis]:
    """Every pair of linked slots of every side."""
    pairing = Pairing(snapshot.errors)
    found: list[PairBasis] = []
    for construct in law.constructs:
        for rule in construct.demand.rules:
            a, b = construct.slots[rule.a], construct.slots[rule.b]
            names = _("%(one)s with %(two)s") % {"one": a.facts.name, "two": b.facts.name}
            title = ", ".join(word for word in (names, side_in_text(construct.side)) if word)
            square = _square(snapshot, law, construct, rule.a, rule.b)
            picture = square_picture(
                title=_("%(pair)s: likelihood of each pair of sizes") % {"pair": title},
                row=a.facts.name,
                column=b.facts.name,
                square=square,
                key=f"j{len(found) + 1}",
            )
            said = [*_pair_words(pairing.association(a, b), a, b), *_left_out(square)]
            found.append(PairBasis(names, construct.side, tuple(said), picture))
    return found


# In words


def _basis_words(slot: SlotPart) -> list[str]:
    basis, said = slot.basis, []
    if basis.errors:
        said += _error_words(slot, basis.errors)
    elif basis.sizes == "linked":
        said.append(_("No size of its own is predicted: it follows the sizes that it must fit."))
    elif basis.sizes == "history":
        said.append(
            ngettext(
                "No size is predicted; the chances come from the %(n)d used here lately.",
                "No size is predicted; the chances come from the %(n)d used here lately.",
                basis.outcomes,
            )
            % {"n": basis.outcomes}
        )
    else:
        said.append(_("No size is predicted and none was used here lately: each size counts alike."))
    if basis.seconds == "assumed":
        said.append(_("Its thicknesses follow an assumed shape, the thin ones likeliest."))
    elif basis.seconds == "history":
        said.append(_("Its second measure follows what was used here lately."))
    elif basis.seconds == "none":
        said.append(_("Nothing is known of its second measure: each counts alike."))
    return said


def _error_words(slot: SlotPart, law: ErrorLaw) -> list[str]:
    prediction = slot.facts.prediction
    planner = prediction.planner if prediction and prediction.planner else _("nobody named")
    said = [_("The table: %(source)s.") % {"source": law.source.rstrip(".")}]
    if not law.outcomes:
        said.append(_("No outcome of this slot and method is on file yet, so the table stands as it is."))
        return said
    said.append(
        _("Learnt since from %(own)d outcomes of %(planner)s by this method, and %(others)d of others.")
        % {"own": law.own, "planner": planner, "others": law.others}
    )
    said.append(_strength_words(law))
    mean = mean_error(law.offsets)
    if abs(mean) >= 0.05:
        words = (
            _("On average the size used is %(n)s sizes larger than the one predicted.")
            if mean > 0
            else _("On average the size used is %(n)s sizes smaller than the one predicted.")
        )
        said.append(words % {"n": f"{abs(mean):.1f}"})
    return said


def _strength_words(law: ErrorLaw) -> str:
    strength = f"{law.strength:.2g}" if law.strength < 100 else f"{law.strength:.0f}"
    if law.fitted:
        return _(
            "What others show counts as much as %(n)s outcomes of one’s own: fitted to the %(groups)d groups "
            "of planner, slot and method on file."
        ) % {"n": strength, "groups": law.groups}
    return _(
        "What others show counts as much as %(n)s outcomes of one’s own: assumed until %(wanted)d groups of "
        "planner, slot and method have %(each)d outcomes each; %(groups)d have."
    ) % {"n": strength, "wanted": ENOUGH_GROUPS, "each": ENOUGH_OUTCOMES, "groups": law.groups}


def _pair_words(found: Association | None, a: SlotPart, b: SlotPart) -> list[str]:
    if found is None:
        if a.basis.sizes == "linked" or b.basis.sizes == "linked":
            return [_("Only the rules join the two sizes.")]
        return [_("The two were not predicted by one method, so only the rules join them.")]
    if found.cases < ENOUGH_CASES:
        return [
            ngettext(
                "%(n)d case has both errors on file; from %(enough)d on it is judged whether they go "
                "together. Until then only the rules join the two sizes.",
                "%(n)d cases have both errors on file; from %(enough)d on it is judged whether they go "
                "together. Until then only the rules join the two sizes.",
                found.cases,
            )
            % {"n": found.cases, "enough": ENOUGH_CASES}
        ]
    values = {"n": found.cases, "times": f"{exp(found.gain / found.cases):.1f}"}
    if not found.used:
        return [
            _(
                "Over %(n)d cases the two errors were foretold no better together than each by itself, so "
                "only the rules join the two sizes."
            )
            % values
        ]
    together = (
        _("The two errors are taken together, larger with larger.")
        if found.odds >= 1
        else _("The two errors are taken together, larger with smaller.")
    )
    why = _(
        "Over %(n)d cases, each foretold from those before it, that gave what happened %(times)s times the "
        "chance that each error by itself gave."
    )
    return [together, why % values]


def _left_out(square: Square) -> list[str]:
    rest = 1.0 - float(square.chance.sum())
    if rest < 0.005:
        return []
    return [
        _("In %(n)d of 100 one of the two is not used, or is of a contingency family: that is not drawn.")
        % {"n": round(rest * 100)}
    ]


# As arrays


def _errors(slot: SlotPart, law: ErrorLaw, number: int) -> Picture:
    name = ", ".join(word for word in (slot.facts.name, side_in_text(slot.side)) if word)
    title = _("%(slot)s: how far what is used lies from what was predicted") % {"slot": name}
    return errors_picture(title=title, law=law, key=f"e{number + 1}")


def _square(snapshot: Snapshot, law: CaseLaw, construct: ConstructLaw, a: int, b: int) -> Square:
    rows, columns = _sizes(construct.slots[a]), _sizes(construct.slots[b])
    chance = np.zeros((len(rows), len(columns)))
    verdict = [[REFUSED] * len(columns) for _row in rows]
    place_a = _places(construct.slots[a], list(rows))
    place_b = _places(construct.slots[b], list(columns))
    for part in construct.joint.parts:
        if a in part.slots:
            i, j = place_a[part.column(a)], place_b[part.column(b)]
            drawn = (i >= 0) & (j >= 0)
            np.add.at(chance, (i[drawn], j[drawn]), part.p[drawn])
    for rule in construct.demand.rules:
        if (rule.a, rule.b) == (a, b):
            for word, pairs in ((UNKNOWN, rule.unknown), (FITS, rule.allow)):
                for one, two in pairs:
                    if place_a[one] >= 0 and place_b[two] >= 0:
                        verdict[place_a[one]][place_b[two]] = word
    return Square(
        rows=tuple(group[0].size for group in rows.values()),
        columns=tuple(group[0].size for group in columns.values()),
        chance=chance,
        verdict=tuple(tuple(line) for line in verdict),
        row_free=tuple(_usable(snapshot, law, group) for group in rows.values()),
        column_free=tuple(_usable(snapshot, law, group) for group in columns.values()),
    )


def _sizes(slot: SlotPart) -> dict[int, list[ComponentFacts]]:
    """The slot's own family by rank of size."""
    found: dict[int, list[ComponentFacts]] = {}
    for row, spare in zip(slot.components, slot.contingency, strict=True):
        if not spare:
            found.setdefault(row.size_rank, []).append(row)
    return dict(sorted(found.items()))


def _places(slot: SlotPart, ranks: list[int]) -> Ints:
    """Per component its size's place; -1 for a contingency family, and last for "not used"."""
    places = [
        -1 if spare else ranks.index(row.size_rank)
        for row, spare in zip(slot.components, slot.contingency, strict=True)
    ]
    return np.array([*places, -1], dtype=np.int64)


def _usable(snapshot: Snapshot, law: CaseLaw, rows: Sequence[ComponentFacts]) -> int:
    """Units of one size that the case can use."""
    return sum(
        cell.usable
        for row in rows
        for cell in cells_in_order(
            snapshot.units.get(row.id, ()),
            owner_order=snapshot.policy.owner_order,
            day=law.facts.day,
            case_id=law.facts.id,
            list_id=law.facts.list_id,
        )
    )
