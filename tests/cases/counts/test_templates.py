"""How a site counts: data, with history; the same on paper and screen; from a file, a page or the start."""

import io
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse

from cases.bookings.models import Procedure
from cases.counts import templating
from cases.counts.forms_templates import TemplateForms
from cases.counts.kinds_template import START_FILE, StagePlan, TemplatePlan, faults_of, starts
from cases.counts.models_templates import CountTemplate, TemplateStage
from cases.counts.queries import stages
from cases.counts.templates_read import in_force, plan_from
from cases.desks.importing import import_apply, import_check, kind_named
from tests.cases.counts.theatre import Theatre, a_theatre
from tests.world import NOW, World
from trays.exchange.models import ImportRun
from trays.ledger.models import Event
from trays.web.errors import NotAllowed, Refusal

pytestmark = pytest.mark.django_db


def put(world: World, plan: TemplatePlan, procedure: Procedure | None = None) -> CountTemplate:
    return templating.template_put(
        by=world.cast.quality, site=world.site, procedure=procedure, plan=plan, at=NOW
    )


def with_stages(*told: tuple[str, str]) -> TemplatePlan:
    plan = starts()[0]
    two = ("scrub_nurse", "circulating_nurse")
    made = tuple(
        StagePlan(str(number), word, kind, "", two) for number, (word, kind) in enumerate(told, start=1)
    )
    return TemplatePlan(plan.code, plan.name, plan.direction, made, plan.classes, plan.steps)


def test_three_ways_of_counting_come_with_the_program_and_are_whole() -> None:
    assert [plan.code for plan in starts()] == ["uk", "us", "au"]
    for plan in starts():
        assert faults_of(plan) == []
        assert {step.kind for step in plan.steps} == {"tell", "recount", "search", "xray", "outcome"}
    assert [len(plan.stages) for plan in starts()] == [5, 6, 6]


def test_a_site_without_a_template_begins_with_the_start_of_the_file(world: World) -> None:
    a_theatre(world)
    made = CountTemplate.objects.get()
    assert (made.site, made.procedure, made.made_by, made.version) == (world.site, None, None, 1)
    assert plan_from(made).stages == starts()[0].stages


def test_stage_words_that_a_site_has_given_lead_its_first_template(world: World) -> None:
    world.site.count_stages = ["Start", "Joint", ["R", "Relief"], "End"]
    world.site.save()
    theatre = a_theatre(world)
    assert [(stage.word, stage.kind) for stage in theatre.state().stages] == [
        ("Start", "first"), ("Joint", "closing"), ("End", "final"),
    ]  # fmt: skip
    assert [head.word for head in stages(theatre.case)] == ["Start", "Joint", "Relief", "End"]


def test_a_later_version_takes_the_place_and_the_earlier_stays(world: World) -> None:
    first = put(world, starts()[1])
    second = put(world, starts()[2])
    first.refresh_from_db()
    assert (first.replaced_at, second.version, second.replaced_at) == (NOW, 2, None)
    assert in_force(world.site, None) == second
    assert plan_from(first).stages == starts()[1].stages


def test_a_case_ends_with_the_template_it_began_with(world: World) -> None:
    theatre = a_theatre(world)
    put(world, with_stages(("Only", "first"), ("Last", "final")))
    assert [stage.word for stage in theatre.state().stages] == [
        "First count",
        "Cavity or joint",
        "Final count",
    ]
    assert [head.word for head in stages(theatre.case)][:1] == ["First count"]
    other = Theatre(world, world.a_case())
    other.open()
    assert [stage.word for stage in other.state().stages] == ["Only", "Last"]


def test_a_procedure_may_have_its_own(world: World) -> None:
    put(world, starts()[0])
    own = put(world, with_stages(("Knee first", "first"), ("Knee last", "final")), world.procedure)
    assert world.procedure is not None
    assert in_force(world.site, world.procedure.pk) == own
    assert in_force(world.site, None) != own
    assert in_force(world.far_site, world.procedure.pk) is None


def test_classes_are_counted_at_the_stages_that_the_template_names(world: World) -> None:
    put(world, starts()[1])
    theatre = a_theatre(world)
    classes = {stage.word: stage.classes for stage in theatre.state().stages}
    assert "instrument" in classes["Cavity"]
    assert not {"instrument", "rack"} & set(classes["Wound"])
    assert "rack" in classes["Final count"]


@pytest.mark.parametrize(
    ("told", "code"),
    [
        ((("Cavity", "closing"), ("End", "final")), "first-stage"),
        ((("Start", "first"), ("Next", "closing")), "final-stage"),
        ((("Start", "first"), ("", "final")), "stage-nameless"),
        ((("Start", "first"), ("End", "final"), ("H", "hand_over"), ("H", "hand_over")), "stage-kind-twice"),
    ],
)
def test_what_does_not_go_together_is_told_and_nothing_is_changed(world: World, told: Any, code: str) -> None:
    with pytest.raises(Refusal) as refused:
        put(world, with_stages(*told))
    assert code in [fault[2] for fault in refused.value.facts["faults"]]
    assert not CountTemplate.objects.exists()


def test_one_signer_is_not_enough() -> None:
    plan = starts()[0]
    alone = StagePlan("1", "Start", "first", "", ("scrub_nurse",))
    twice = StagePlan("1", "Start", "first", "", ("scrub_nurse", "scrub_nurse"))
    for stage in (alone, twice):
        made = TemplatePlan("x", "X", "", (stage, *plan.stages[1:]), plan.classes, plan.steps)
        assert [fault[2] for fault in faults_of(made)] == ["two-signers"]


def test_only_quality_and_coordination_decide_how_it_is_counted(world: World) -> None:
    with pytest.raises(NotAllowed):
        templating.template_put(
            by=world.cast.scrub, site=world.site, procedure=None, plan=starts()[0], at=NOW
        )


# From a file


def imported(world: World, text: str) -> ImportRun:
    by = world.cast.quality
    return import_check(
        kind=kind_named("count-templates"), file=io.BytesIO(text.encode()), file_name="count-templates.csv",
        by=by, at=NOW,
    )  # fmt: skip


def start_file(*, site: str = "larkmere") -> str:
    lines = Path(START_FILE).read_text(encoding="utf-8").splitlines()
    head, rows = lines[0], [line.split(",", 2) for line in lines[1:] if line.startswith("us,")]
    return "\n".join([head, *(f"{code},{site},{rest}" for code, _site, rest in rows)]) + "\n"


def test_a_file_puts_a_template_in_force(world: World) -> None:
    put(world, starts()[0])
    run = imported(world, start_file())
    assert run.state == ImportRun.State.CHECKED
    import_apply(run=run, by=world.cast.quality, at=NOW)
    found = in_force(world.site, None)
    assert found is not None
    assert (found.version, found.name) == (2, "Count, US style")
    assert plan_from(found).stages == starts()[1].stages
    event = Event.objects.order_by("-pk")[0]
    assert {(line.subject, line.after) for line in event.lines.all()} == {
        ("count_template", "replaced"), ("count_template", "in_force"),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "column"),
    [
        (",first,", ",beginning,", "kind"),
        ("scrub_nurse|circulating_nurse", "scrub_nurse|porter", "signers"),
        (",10|5|1,", ",10|many,", "keys"),
        (",always,", ",sometimes,", "when"),
    ],
)
def test_faults_of_a_file_are_told_by_row_and_column(world: World, old: str, new: str, column: str) -> None:
    run = imported(world, start_file().replace(old, new, 1))
    assert run.state == ImportRun.State.FAULTY
    assert [fault.column for fault in run.faults.all()] == [column]


def test_a_file_whose_parts_do_not_go_together_changes_nothing(world: World) -> None:
    text = "\n".join(line for line in start_file().splitlines() if ",final," not in line)
    run = imported(world, text)
    with pytest.raises(Refusal, match="template-faulty"):
        import_apply(run=run, by=world.cast.quality, at=NOW)
    assert not TemplateStage.objects.exists()


# The page


def page(client: Any, name: str, **kwargs: Any) -> str:
    answer = client.get(reverse(name, kwargs=kwargs))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def sent(forms: TemplateForms, **change: Any) -> dict[str, Any]:
    """What a browser sends back of the form as it was shown, with what was typed over it."""
    data: dict[str, Any] = {}
    tables = (forms.stages, forms.classes, forms.steps)
    for form in (forms.head, *(formset.management_form for formset in tables)):
        for bound in form:
            data[bound.html_name] = bound.value() or ""
    for formset in tables:
        for form in formset:
            for bound in form:
                # A list to choose from sends its first word where none was chosen.
                choices = [value for value, _word in getattr(bound.field, "choices", ())]
                unchosen = choices[0] if choices else ""
                # Boxes of which none is ticked send nothing at all.
                if bound.name != "signers" or bound.value():
                    data[bound.html_name] = bound.value() or unchosen
    return {**data, **change}


def test_the_page_shows_what_is_in_force_and_what_was(world: World, as_person: Any) -> None:
    client = as_person("quality")
    assert "begins with “Count, UK style”" in page(client, "count-templates")
    put(world, starts()[0])
    second = put(world, starts()[2], world.procedure)
    put(world, starts()[1])
    shown = page(client, "count-templates")
    assert "2 templates are in force" in shown
    assert "Count, UK style, version 1" in shown
    one = page(client, "count-template", pk=second.pk)
    for words in (
        "First closing count",
        "Scrub nurse, Circulating nurse, Surgeon",
        "+10 +5 +1",
        "X-ray as local",
    ):
        assert words in one


def test_the_next_version_is_written_on_the_page(world: World, as_person: Any) -> None:
    row = put(world, starts()[0])
    data = sent(
        TemplateForms(plan=starts()[0]),
        **{"stage-1-word": "", "stage-2-signers": ["scrub_nurse", "circulating_nurse", "surgeon"],
           "class-0-keys": "20, 5", "class-3-stages": "1 3", "step-0-word": "Tell everybody"},
    )  # fmt: skip
    answer = as_person("quality").post(reverse("count-template-edit", args=[row.pk]), data)
    made = CountTemplate.objects.get(replaced_at=None)
    assert answer.status_code == 303
    assert answer["Location"] == reverse("count-template", args=[made.pk])
    plan = plan_from(made)
    assert [stage.word for stage in plan.stages] == ["First count", "Final count", "Hand-over", "Extra count"]
    assert plan.stages[1].signers == ("scrub_nurse", "circulating_nurse", "surgeon")
    assert (plan.classes[0].keys, plan.classes[3].stages) == ((20, 5), (1, 2))
    assert plan.steps[0].words == "Tell everybody"
    assert made.version == 2


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"stage-0-word": ""}, "The first stage, and only that, is a first count."),
        ({"stage-0-signers": ["scrub_nurse"]}, "Two different people at least sign a stage."),
        ({"class-3-stages": "1 Z"}, "The class names a stage that is not there."),
        ({"class-0-keys": "many"}, "Whole numbers from 1 to 100"),
        ({"name": ""}, "required"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_typed_is_lost(
    world: World, as_person: Any, change: dict[str, Any], said: str
) -> None:
    row = put(world, starts()[0])
    data = sent(TemplateForms(plan=starts()[0]), **{"direction": "from the left", **change})
    answer = as_person("quality").post(reverse("count-template-edit", args=[row.pk]), data)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert "from the left" in answer.content.decode()
    assert CountTemplate.objects.count() == 1


def test_a_new_one_begins_as_one_of_those_that_come_with_the_program(world: World, as_person: Any) -> None:
    client = as_person("coordinator")
    assert world.procedure is not None
    address = f"{reverse('count-template-new')}?site=larkmere&start=au&procedure={world.procedure.pk}"
    assert "First closing count" in client.get(address).content.decode()
    answer = client.post(address, sent(TemplateForms(plan=starts()[2])))
    assert answer.status_code == 303
    made = CountTemplate.objects.get()
    assert (made.procedure, made.made_by) == (world.procedure, world.cast.coordinator)
    assert client.get(f"{reverse('count-template-new')}?start=none").status_code == 404


def test_the_list_of_templates_costs_the_same_few_queries(
    world: World, as_person: Any, django_assert_max_num_queries: Any
) -> None:
    for plan in (*starts(), *starts()):
        put(world, plan)
    client = as_person("quality")
    with django_assert_max_num_queries(12):
        client.get(reverse("count-templates"))
