"""The sheets of one case."""

from typing import ClassVar

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from trays.web.table import CodeColumn, Column, Lines, NumberColumn


class SheetLines(Lines):
    """One line for each sheet, in the order of the count."""

    name: ClassVar[str | Promise] = _("Count sheets")
    row_head: ClassVar[str] = "subject"
    looks: ClassVar[tuple[str, ...]] = ("flat", "still", "mid")
    files: ClassVar[bool] = False
    empty: ClassVar[tuple[str | Promise, str | Promise]] = (_("No sheets have been made yet."), "")

    sheet_of_case = Column(verbose_name=_("Sheet"))
    number = CodeColumn(verbose_name=_("Number"))
    subject = Column(verbose_name=_("What is counted"))
    pack = CodeColumn(verbose_name=_("Pack"), default="–")
    contents_list = Column(verbose_name=_("Contents list"))
    lines = NumberColumn(verbose_name=_("Lines"))
    short = Column(verbose_name=_("Lacking"))

    class Meta(Lines.Meta):
        orderable = False
