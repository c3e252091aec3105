"""Numbers turned into sentences: what is missing, who competes for it, until when. Never which implant to
choose."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.planning.fit import clash
from cases.planning.kinds import SLACK, CaseAnswer, Missing
from cases.readiness.facts import (
    ComponentFacts,
    SetHoldFacts,
    SlotFacts,
    Snapshot,
    UnitFacts,
    comes_back,
    lacks_critical,
)
from cases.readiness.kinds import Level, PickSlot, Word
from cases.readiness.laws import CaseLaw, SlotPart
from cases.readiness.on_the_way import Coming
from cases.readiness.shelf import set_item
from cases.readiness.way_words import late_words
from trays.catalogue.words import side_word, size_words
from trays.instruments.ready import SetFacts
from trays.web.wording import likely, sitetime

MOST_SENTENCES = 3
WORTH_SAYING = 0.005


def component_words(label: str, row: ComponentFacts) -> str:
    """ "Femoral 6 RIGHT", "Insert 5 × 14"."""
    return " ".join(word for word in (label, size_words(row), side_word(row.side)) if word)


class Speaker:
    """Says what a snapshot's answers mean. `laws` are those of all its cases, by id."""

    def __init__(self, snapshot: Snapshot, laws: Mapping[int, CaseLaw]) -> None:
        self.snapshot = snapshot
        self.laws = laws
        self.designs = {set_item(design.id): design for design in snapshot.designs.values()}

    def item_words(self, law: CaseLaw, item: str) -> str:
        """The name of an item of a case: a component with its size and side, or a set design."""
        if item in self.designs:
            return self.designs[item].name
        for slot in law.slots:
            if item in slot.law.items:
                return component_words(slot.facts.name, slot.components[slot.law.items.index(item)])
        return item

    def on_site(self, law: CaseLaw, answer: CaseAnswer, level: Level) -> tuple[str, ...]:
        """Why the case is not surely covered on site; empty where it is."""
        said: list[str] = []
        if answer.impossible:
            return (self.impossible(law),)
        if level.word is not Word.COVERED:
            said += self._missing(law, answer, level)
        said += self._unknown(law, answer, level)
        said += self._without_prediction(law)
        return tuple(said)

    def impossible(self, law: CaseLaw) -> str:
        """Which rules leave no combination of the sizes, by the slots that they link."""
        pairs: list[str] = []
        for construct in law.constructs:
            for number in clash(construct.demand):
                rule = construct.demand.rules[number]
                pairs.append(
                    _("%(one)s with %(two)s")
                    % {"one": _predicted_words(construct.slots[rule.a]),
                       "two": _predicted_words(construct.slots[rule.b])}
                )  # fmt: skip
        if not pairs:
            return _("No combination of these sizes meets the fit rules on file.")
        return _(
            "No combination of these sizes meets the fit rules on file: %(pairs)s. "
            "Check the predictions and the rules."
        ) % {"pairs": "; ".join(dict.fromkeys(pairs))}

    def picked(self, law: CaseLaw, answer: CaseAnswer, level: Level) -> tuple[str, ...]:
        """What the room lacks although something is picked."""
        if level.word is Word.COVERED:
            return (_("Picked. In the room is judged by what is held for this case."),)
        said = [
            _("%(item)s is not among what is picked; it is wanted in %(chance)s of 100.")
            % {"item": self.item_words(law, one.item), "chance": likely(one.p)}
            for one in _worth(answer.missing)
        ]
        return tuple([*said, *self._unknown(law, answer, level)])

    def not_picked(
        self, law: CaseLaw, answer: CaseAnswer, level: Level, missing: Sequence[str]
    ) -> tuple[str, ...]:
        """What a pick list made now would lack."""
        first = _("Nothing is picked yet. This is what today’s shelf would give.")
        return (first, *missing[:MOST_SENTENCES], *self._unknown(law, answer, level))

    def sizes_line(self, law: CaseLaw, run: Sequence[PickSlot]) -> str:
        """ "Femoral 4–6, tibial 4–6, insert 8–14"; each side by its word where there are two."""
        components = self.snapshot.components
        by_side: dict[str, list[str]] = {}
        for slot, chosen in zip(law.slots, run, strict=False):
            rows = [components[one.component_id] for one in chosen.sizes if one.group != "contingency"]
            if rows:
                by_side.setdefault(slot.side, []).append(_run_words(slot.facts, rows))
        lines = []
        for side, words in by_side.items():
            head = {"left": _("left: "), "right": _("right: ")}.get(side, "") if len(by_side) > 1 else ""
            rest = [word[:1].lower() + word[1:] for word in words[1:]]
            lines.append(head + ", ".join([words[0], *rest]))
        line = "; ".join(lines)
        return line[:1].upper() + line[1:]

    # What is missing

    def _missing(self, law: CaseLaw, answer: CaseAnswer, level: Level) -> list[str]:
        rests = (
            _("missing in at most %(chance)s of 100")
            if level.at_most
            else _("missing in about %(chance)s of 100")
            if level.about
            else _("missing in %(chance)s of 100")
        )
        said = []
        for one in _worth(answer.missing):
            why = (
                self._set_why(law, one, answer)
                if one.item in self.designs
                else self._unit_why(law, one, answer)
            )
            rest = rests if one.p >= WORTH_SAYING else _("missing in %(chance)s of 100")
            chance = rest % {"chance": likely(one.p)}
            said.append(f"{self.item_words(law, one.item)}: {why}; {chance}.")
        for need in _worth(answer.unserved)[:1]:
            said.append(
                _("%(need)s: no set of the plan serves these sizes in %(chance)s of 100.")
                % {"need": need.item, "chance": likely(need.p)}
            )
        return said

    def _unit_why(self, law: CaseLaw, one: Missing, answer: CaseAnswer) -> str:
        rows = self.snapshot.units.get(int(one.item[1:]), ())
        dated = [unit for unit in rows if unit.in_date(law.facts.day)]
        coming = self._coming_words(self.snapshot.coming.get(int(one.item[1:]), ()), law)
        if not dated:
            return ", ".join(part for part in (self._none_on_site(rows), coming) if part)
        words = [_("%(n)d on site") % {"n": len(dated)}]
        held = [unit for unit in dated if unit.case_id not in (None, law.facts.id)]
        held_words = self._held_words(held)
        on_lists = [unit for unit in dated if unit.list_id not in (None, law.facts.list_id)]
        if held_words:
            words.append(held_words)
        if on_lists:
            words.append(_("%(n)d held for another list") % {"n": len(on_lists)})
        holders = {unit.case_id for unit in held}
        ahead = self._takers(one.item, [ref for ref in answer.competitors if ref not in holders])
        if ahead:
            words.append(ahead)
        if coming:
            words.append(coming)
        return ", ".join(words)

    def _coming_words(self, rows: Sequence[Coming], law: CaseLaw) -> str:
        """What is on its way, and when; or that it comes too late for the case."""
        if not rows:
            return ""
        in_time = [one for one in rows if one.due < law.facts.day]
        named = in_time or rows
        words = {
            "n": sum(one.pieces for one in named),
            "day": sitetime(named[0].due, "day"),
            "number": named[0].number,
        }
        if not in_time:
            return _("%(n)d on its way (%(number)s), due %(day)s, too late for this case") % words
        if not all(one.promised for one in in_time):
            return _("%(n)d on its way (%(number)s), not sent or not confirmed yet") % words
        return _("%(n)d on its way (%(number)s), due %(day)s") % words

    def _none_on_site(self, rows: Iterable[UnitFacts]) -> str:
        dates = [unit.expires for unit in rows if unit.expires is not None]
        if dates:
            return _("what is on site expires by %(day)s, before the operation") % {
                "day": sitetime(max(dates), "day")
            }
        return _("none on site")

    def _held_words(self, held: Sequence[UnitFacts]) -> str:
        if not held:
            return ""
        references = sorted({self.snapshot.references.get(unit.case_id or 0, "?") for unit in held})
        return ngettext(
            "%(n)d held for case %(cases)s", "%(n)d held for cases %(cases)s", len(references)
        ) % {"n": len(held), "cases": ", ".join(references)}

    def _takers(self, item: str, refs: Sequence[int]) -> str:
        """Which earlier cases may take it, the likeliest first."""
        chances = sorted(((self._takes(ref, item), ref) for ref in refs), reverse=True)
        named = [(p, self.snapshot.references.get(ref, "?")) for p, ref in chances if p >= WORTH_SAYING]
        if not named:
            return ""
        words = ", ".join(
            _("%(case)s in %(chance)s of 100") % {"case": reference, "chance": likely(p)}
            for p, reference in named[:MOST_SENTENCES]
        )
        if len(named) > MOST_SENTENCES:
            more = len(named) - MOST_SENTENCES
            words = _("%(cases)s and %(n)d more") % {"cases": words, "n": more}
        if len(named) == 1:
            return _("which case %(case)s takes first in %(chance)s of 100") % {
                "case": named[0][1],
                "chance": likely(named[0][0]),
            }
        return _("which earlier cases take first: %(cases)s") % {"cases": words}

    def _takes(self, ref: int, item: str) -> float:
        law = self.laws.get(ref)
        if law is None:
            return 0.0
        missed = 1.0
        for construct in law.constructs:
            for slot, chances in zip(construct.slots, construct.marginals, strict=False):
                if item in slot.law.items:
                    missed *= 1.0 - min(1.0, float(chances[slot.law.items.index(item)]))
        return 1.0 - missed

    def _set_why(self, law: CaseLaw, one: Missing, answer: CaseAnswer) -> str:
        design = self.designs[one.item]
        rows = [row for row in self.snapshot.sets if row.design_id == design.id]
        coming = self._coming_words(self.snapshot.lent.get(design.id, ()), law)
        if not rows:
            return ", ".join(part for part in (_("no such set at this site"), coming) if part)
        words = [ngettext("%(n)d set at this site", "%(n)d sets at this site", len(rows)) % {"n": len(rows)}]
        words += [said for row in rows if (said := self.set_state(row, law))][:MOST_SENTENCES]
        holders = {hold.case_id for hold in self._others(rows, law)}
        ahead = [
            other
            for ref in answer.competitors
            if ref not in holders
            and (other := self.laws.get(ref)) is not None
            and _needs_item(other, one.item)
            and other.demand.end > law.demand.start
        ]
        if ahead:
            back = min(other.demand.end for other in ahead)
            names = ", ".join(other.facts.reference for other in ahead[:MOST_SENTENCES])
            if len(ahead) > MOST_SENTENCES:
                names = _("%(cases)s and %(n)d more") % {"cases": names, "n": len(ahead) - MOST_SENTENCES}
            words.append(
                ngettext(
                    "case %(cases)s may have it first, back from %(time)s",
                    "cases %(cases)s may have them first, back from %(time)s",
                    len(ahead),
                )
                % {"cases": names, "time": self._minute_words(back)}
            )
        if coming:
            words.append(coming)
        return ", ".join(words)

    def _others(self, rows: Iterable[SetFacts], law: CaseLaw) -> list[SetHoldFacts]:
        return [hold for row in rows for hold in self.holds_against(row, law)]

    def holds_against(self, row: SetFacts, law: CaseLaw) -> list[SetHoldFacts]:
        """Holds of a set for others, over the time in which the case would have it."""
        end = law.demand.end
        return [
            hold
            for hold in self.snapshot.set_holds
            if hold.set_id == row.pk
            and hold.case_id != law.facts.id
            and hold.list_id != law.facts.list_id
            and hold.starts_at.timestamp() < end * 60
            and hold.ends_at.timestamp() > law.demand.start * 60
        ]

    def set_state(self, row: SetFacts, law: CaseLaw) -> str:
        """Why a set cannot be had for the case, in words; "" if it can."""
        names = {"code": row.code}
        if lacks_critical(row):
            return _("%(code)s lacks a critical line") % names
        if comes_back(row):
            due = self.snapshot.due(row)
            if due is not None and due <= law.start:
                return ""
            found = self.snapshot.estimate(row)
            if found is not None:
                return late_words(row.code, found, law.start)
            # Without sterile services on file there is the site's own figure, and so a time.
            return _("%(code)s is being processed, back about %(time)s") % {
                **names,
                "time": self._minute_words(due or 0),
            }
        if not row.ready_on(date.min):
            return _("%(code)s is held back or away") % names
        if row.sterile_until is not None and row.sterile_until < law.facts.day:
            return _("%(code)s is sterile until %(day)s only") % {
                **names,
                "day": sitetime(row.sterile_until, "day"),
            }
        return ""

    def _minute_words(self, minute: int) -> str:
        return sitetime(datetime.fromtimestamp(minute * 60, tz=UTC))

    # What is not known

    def _unknown(self, law: CaseLaw, answer: CaseAnswer, level: Level) -> list[str]:
        if answer.p_unknown <= SLACK or (answer.p_unknown < WORTH_SAYING and level.word is not Word.UNKNOWN):
            return []
        pair = self._unknown_pair(law)
        chance = likely(answer.p_unknown)
        if not pair:
            return [_("%(chance)s in 100 of outcomes have no fit rule on file.") % {"chance": chance}]
        return [
            _("%(chance)s in 100 of outcomes have no fit rule on file: %(pair)s.")
            % {"chance": chance, "pair": pair}
        ]

    def _unknown_pair(self, law: CaseLaw) -> str:
        """The likeliest pair without a rule, in words."""
        best, words = 0.0, ""
        for construct in law.constructs:
            for part in construct.joint.parts:
                if not part.unknown.any():
                    continue
                for rule in construct.demand.rules:
                    if rule.a not in part.slots or not rule.unknown:
                        continue
                    a, b = part.column(rule.a), part.column(rule.b)
                    wide = len(construct.slots[rule.b].components) + 1
                    codes = (a + 1) * wide + b + 1
                    masses = np.bincount(codes[part.unknown], weights=part.p[part.unknown])
                    for code in np.argsort(-masses, kind="stable")[:8].tolist():
                        i, j = code // wide - 1, code % wide - 1
                        if (i, j) in rule.unknown and (i, j) not in rule.allow and masses[code] > best:
                            best = float(masses[code])
                            one, two = construct.slots[rule.a], construct.slots[rule.b]
                            words = _("%(one)s with %(two)s") % {
                                "one": component_words(one.facts.name, one.components[i]),
                                "two": component_words(two.facts.name, two.components[j]),
                            }
        return words

    def _without_prediction(self, law: CaseLaw) -> list[str]:
        said = []
        for slot in law.shape.whole.slots:
            if slot.facts.predicted and slot.facts.prediction is None:
                said.append(_basis_words(slot))
        return said


def _predicted_words(slot: SlotPart) -> str:
    """ "Femoral 5–6 RIGHT": the slot with the sizes that it may take."""
    rows = [
        row
        for row, weight, spare in zip(slot.components, slot.law.weights, slot.contingency, strict=True)
        if weight > 0 and not spare
    ]
    side = side_word(slot.side) if len({row.side for row in rows}) == 1 and rows[0].side != "none" else ""
    return " ".join(word for word in (_run_words(slot.facts, rows), side) if word)


def _basis_words(slot: SlotPart) -> str:
    name = " ".join(word for word in (slot.facts.name, side_word(slot.side)) if word)
    if slot.basis.sizes == "history":
        return ngettext(
            "%(slot)s: no size is predicted; the chances come from the %(n)d used here lately.",
            "%(slot)s: no size is predicted; the chances come from the %(n)d used here lately.",
            slot.basis.outcomes,
        ) % {"slot": name, "n": slot.basis.outcomes}
    return _("%(slot)s: no size is predicted and none was used here lately; each size counts alike.") % {
        "slot": name
    }


def _run_words(slot: SlotFacts, rows: Sequence[ComponentFacts]) -> str:
    if not slot.predicted and any(row.second for row in rows):
        ordered = sorted(rows, key=lambda row: row.second_rank)
        ends = (ordered[0].second, ordered[-1].second)
    else:
        ordered = sorted(rows, key=lambda row: row.size_rank)
        ends = (ordered[0].size, ordered[-1].size)
    return f"{slot.name} {ends[0]}" if ends[0] == ends[1] else f"{slot.name} {ends[0]}–{ends[1]}"


def _worth(found: Sequence[Missing]) -> list[Missing]:
    """What is worth a sentence: all but traces, the likeliest few; the first in any case."""
    return [one for n, one in enumerate(found[:MOST_SENTENCES]) if n == 0 or one.p >= WORTH_SAYING]


def _needs_item(law: CaseLaw, item: str) -> bool:
    return any(option.item == item for need in law.demand.needs for option in need.options)


def missing_words(label: str, row: ComponentFacts) -> str:
    """What a pick list could not bring."""
    return _("%(item)s: none free on site in date.") % {"item": component_words(label, row)}


def unmet_need_words(name: str) -> str:
    return _("%(need)s: no set is ready and free for this case.") % {"need": name}


def minimum_words(count: int) -> str:
    """What the site's minimum adds to the computed list; "" for nothing."""
    if not count:
        return ""
    return ngettext(
        "The site’s minimum adds %(n)d unit to the computed list.",
        "The site’s minimum adds %(n)d units to the computed list.",
        count,
    ) % {"n": count}
