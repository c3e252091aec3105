"""Form fields that several rooms share."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from trays.web.numbers import whole


class RowsField(forms.ModelMultipleChoiceField):
    """Rows ticked on a page. A number that no database holds names no row, like one that is gone."""

    def _check_values(self, value: Any) -> Any:
        for one in value if isinstance(value, list | tuple) else ():
            if whole(str(one)) is None:
                raise ValidationError(
                    self.error_messages["invalid_choice"],
                    code="invalid_choice",
                    params={"value": str(one)[:20]},
                )
        return super()._check_values(value)  # type: ignore[misc]
