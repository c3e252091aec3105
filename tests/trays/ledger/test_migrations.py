"""A new database is made in one step, an older one grows step by step: both end as the models say."""

import pytest
from django.apps import apps
from django.db import connection
from django.db.migrations import Migration
from django.db.migrations.autodetector import MigrationAutodetector
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.operations import CreateModel
from django.db.migrations.state import ProjectState
from django.db.models import PROTECT, BigAutoField, CharField, ForeignKey

from trays.ledger.migrating import CreateModels


@pytest.mark.parametrize("in_one_step", [True, False])
def test_the_migrations_end_as_the_models_say(in_one_step: bool) -> None:
    loader = MigrationLoader(None, ignore_no_migrations=True)
    loader.replace_migrations = in_one_step
    loader.build_graph()
    ours = {key[1] for key in loader.graph.nodes if key[0] in ("trays", "cases")}
    assert ("0001_initial" not in ours) is in_one_step
    changes = MigrationAutodetector(loader.project_state(), ProjectState.from_apps(apps))._detect_changes()
    assert {app: steps for app, steps in changes.items() if app in ("trays", "cases")} == {}


@pytest.mark.usefixtures("committing")
def test_many_tables_are_made_and_taken_away_in_one_step() -> None:
    class Step(Migration):
        operations = [
            CreateModels(
                models=[
                    CreateModel(
                        "Shelf", [("id", BigAutoField(primary_key=True)), ("name", CharField(max_length=9))]
                    ),
                    CreateModel(
                        "Box",
                        [
                            ("id", BigAutoField(primary_key=True)),
                            ("shelf", ForeignKey("trial.Shelf", PROTECT)),
                        ],
                    ),
                ]
            )
        ]

    before = ProjectState()
    before.apps  # noqa: B018  # as in a run, where the models stand drawn up already
    with connection.schema_editor() as editor:
        after = Step("first", "trial").apply(before.clone(), editor)
    shelf = after.apps.get_model("trial", "Shelf").objects.create(name="A1")
    assert after.apps.get_model("trial", "Box").objects.create(shelf=shelf).shelf.name == "A1"
    with connection.schema_editor() as editor:
        Step("first", "trial").unapply(before.clone(), editor)
    assert not {"trial_shelf", "trial_box"} & set(connection.introspection.table_names())
