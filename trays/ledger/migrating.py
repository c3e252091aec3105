"""A migration operation that makes many tables at once."""

from collections.abc import Sequence
from typing import Any

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations import CreateModel
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState


class CreateModels(Operation):
    """Make the tables of these models, in this order.

    One by one, each new model has all models that it leads to drawn up anew: quadratic, and a new database
    would take most of its first half minute for it. Here they are drawn up once.
    """

    serialization_expand_args = ["models"]

    def __init__(self, models: Sequence[CreateModel]) -> None:
        self.models = models

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        return (type(self).__qualname__, [], {"models": self.models})

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        state.__dict__.pop("apps", None)
        for one in self.models:
            one.state_forwards(app_label, state)

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        for one in self.models:
            one.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        for one in reversed(self.models):
            one.database_backwards(app_label, schema_editor, from_state, to_state)

    def describe(self) -> str:
        return f"Create {len(self.models)} models"

    @property
    def migration_name_fragment(self) -> str:
        return "models"
