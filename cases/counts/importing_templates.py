"""Files of count templates: one row for each stage, class and step, and one for the template itself."""

from collections.abc import Hashable, Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.bookings.models import Procedure
from cases.counts.kinds_template import SEATS, faults_of, plan_of
from cases.counts.models_templates import (
    CountClass,
    CountTemplate,
    StageKind,
    StepKind,
    StepWhen,
    TemplateClass,
    TemplateStage,
)
from cases.counts.said import fault_words
from cases.counts.templating import template_write
from trays.exchange.columns import Choice, Code, Several, Text, Whole
from trays.exchange.kinds import ImportKind, Moved, Moves, Row, moves
from trays.parties.models import Site
from trays.web.errors import Refusal

PARTS = ("template", "stage", "class", "step")
# What is shorter in one part than in the others, in letters.
LONGEST = {
    ("template", "word"): CountTemplate.name.field.max_length or 0,
    ("template", "when"): CountTemplate.direction.field.max_length or 0,
    ("stage", "word"): TemplateStage.word.field.max_length or 0,
    ("class", "word"): TemplateClass.word.field.max_length or 0,
}


class CountTemplates(ImportKind):
    """One part of a template a row. A template that is imported takes the place of the one in force."""

    code = "count-templates"
    title = gettext_lazy("Count templates")
    about = gettext_lazy(
        "How a site counts, for one procedure or for all: stages and who signs them, classes in running "
        "order, steps of a discrepancy. The one in force stays on file; cases that are open end with it."
    )
    house = False
    key_column = "number"
    acts = ("set_count_policy",)
    columns = (
        Code("template", gettext_lazy("Keeps the rows of one template together."), "own"),
        Code("site", gettext_lazy("The site."), "larkmere"),
        Code(
            "procedure", gettext_lazy("The procedure; empty for all that have none."), "knee-total", False, ""
        ),
        Choice("part", gettext_lazy("What the row describes."), "stage", words=PARTS),
        Whole("number", gettext_lazy("Its turn in the template."), "1", low=1, high=40),
        Text("mark", gettext_lazy("A stage's number or letter."), "1", False, longest=3, default=""),
        Text("word", gettext_lazy("Its name; a step's words."), "First count", longest=160),
        Code(
            "kind",
            gettext_lazy("What a stage is for, which class it is, what a step is; empty for the template."),
            "first",
            False,
            "",
        ),
        Text(
            "when",
            gettext_lazy("When a stage is done; when a step is needed; the template's way round."),
            "before the operation starts",
            False,
            longest=160,
            default="",
        ),
        Several("signers", gettext_lazy("Roles that sign a stage."), "scrub_nurse|circulating_nurse", False),
        Several("keys", gettext_lazy("How many one press of a class's keys adds."), "5|1", False),
        Several(
            "stages", gettext_lazy("Numbers of the stages that count a class; empty for all."), "1|3", False
        ),
    )

    def prepare(self) -> None:
        self.procedures = Procedure.objects.in_bulk(field_name="code")

    def check(self, row: Row) -> dict[str, Any] | None:
        site = self.site(row)
        procedure = row.find("procedure", self.procedures)
        for column in ("keys", "stages"):
            for word in row[column] or []:
                if not word.isascii() or not word.isdigit() or len(word) > 3:
                    row.fault(column, _("“%(text)s” is not a whole number.") % {"text": word[:20]}, "5|1")
        self._check_part(row)
        if row.faults or site is None:
            return None
        return {
            **{name: row[name] for name in ("template", "part", "number", "mark", "word", "kind", "when")},
            **{name: "|".join(row[name] or []) for name in ("signers", "keys", "stages")},
            "site_id": site.id,
            "_procedure": procedure.pk if procedure else None,
        }

    def _check_part(self, row: Row) -> None:
        kinds = {
            "stage": StageKind.values, "class": CountClass.values, "step": StepKind.values, "template": [""],
        }[row["part"]]  # fmt: skip
        if row["kind"] not in kinds:
            row.fault(
                "kind",
                _("“%(text)s” is none of the words for this column.") % {"text": row["kind"][:40]},
                _("Write one of: %(words)s.") % {"words": ", ".join(kinds)},
            )
        if row["part"] == "step" and row["when"] not in StepWhen.values:
            row.fault(
                "when",
                _("“%(text)s” is none of the words for this column.") % {"text": row["when"][:40]},
                _("Write one of: %(words)s.") % {"words": ", ".join(StepWhen.values)},
            )
        for seat in row["signers"] or []:
            if seat not in SEATS:
                row.fault(
                    "signers",
                    _("“%(text)s” is none of the words for this column.") % {"text": seat[:40]},
                    _("Write one of: %(words)s.") % {"words": ", ".join(SEATS)},
                )
        for (part, column), longest in LONGEST.items():
            if row["part"] == part and len(row[column]) > longest:
                words = _("This is too long for its place.")
                row.fault(column, words, _("Shorten it to %(n)s letters.") % {"n": longest})

    def key(self, values: dict[str, Any]) -> Hashable:
        return self._whole(values), values["part"], values["number"]

    @staticmethod
    def _whole(values: dict[str, Any]) -> tuple[str, int, int | None]:
        return values["template"], values["site_id"], values["_procedure"]

    def apply(self, rows: Sequence[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
        """Write each template whole. Raises Refusal "template-faulty" where its parts do not go together."""
        found: dict[tuple[str, int, int | None], list[dict[str, Any]]] = {}
        for values in rows:
            found.setdefault(self._whole(values), []).append(values)
        sites = Site.objects.in_bulk([site for _code, site, _procedure in found])
        procedures = Procedure.objects.in_bulk([pk for _code, _site, pk in found if pk is not None])
        moved = []
        for (code, site, procedure), parts in found.items():
            plan = _plan(code, parts)
            _made, lines = template_write(
                plan, site=sites[site], procedure=procedures.get(procedure or 0), by=by, at=at
            )
            moved += [
                (site, Moved(line.subject, line.subject_id, line.after, before=line.before)) for line in lines
            ]
        return moves(moved)


def _plan(code: str, parts: Sequence[dict[str, Any]]) -> Any:
    said = _("Put the file right and hand it in again; nothing has been changed.")
    if sum(part["part"] == "template" for part in parts) != 1:
        raise Refusal(
            "template-faulty",
            _("Template %(code)s needs exactly one row for the template itself.") % {"code": code},
            said,
        )
    plan = plan_of(code, parts)
    faults = faults_of(plan)
    if faults:
        words = "; ".join(fault_words(*fault) for fault in faults[:3])
        raise Refusal("template-faulty", _("Template %(code)s: %(why)s") % {"code": code, "why": words}, said)
    return plan
