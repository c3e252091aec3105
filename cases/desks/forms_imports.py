"""The form that hands in a file."""

from typing import Any

from django import forms
from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy as _

from cases.desks.importing import kind_named, kinds_for
from trays.exchange.kinds import ImportKind
from trays.staff.models import Person


class HandInForm(forms.Form):
    """What kind of file, and the file."""

    kind = forms.ChoiceField(label=_("Kind of file"))
    file = forms.FileField(
        label=_("File"),
        help_text=_("CSV or XLSX, with the column heads in its first row."),
        allow_empty_file=True,
        error_messages={"required": _("No file is chosen. Choose one.")},
    )

    def __init__(self, *args: Any, by: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"] = forms.ChoiceField(
            label=_("Kind of file"), choices=[(one.code, one.title) for one in kinds_for(by)]
        )
        self.fields["file"].widget.attrs["accept"] = ".csv,.xlsx,text/csv"

    def clean_kind(self) -> type[ImportKind]:
        return kind_named(self.cleaned_data["kind"])

    def clean_file(self) -> UploadedFile:
        file: UploadedFile = self.cleaned_data["file"]
        most = settings.IMPORT_LIMIT_BYTES
        if (file.size or 0) > most:
            raise forms.ValidationError(
                _("The file has %(size)s MB; at most %(most)s MB are taken. Split it into several files."),
                code="file-too-large",
                params={"size": (file.size or 0) // 1_048_576, "most": most // 1_048_576},
            )
        return file
