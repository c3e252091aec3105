"""Tables: lines with a head that sorts, pages by link, a file of the same; htmx swaps only the lines."""

from collections.abc import Iterator, Mapping
from datetime import date, datetime
from html import unescape
from typing import Any, ClassVar

import django_tables2 as tables
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.html import format_html, strip_tags
from django.utils.safestring import SafeData
from django.utils.text import slugify
from django.utils.translation import gettext_lazy as _
from django_tables2 import RequestConfig

from trays.exchange import writer
from trays.web import wording
from trays.web.page import answer_page, wants_part
from trays.web.wording import sitetime

PER_PAGE = 50
PER_PAGE_MOST = 500
FILES = {"csv": (writer.write_csv, writer.CSV_TYPE), "xlsx": (writer.write_xlsx, writer.XLSX_TYPE)}

Column = tables.Column


def _classed(attrs: dict[str, Any] | None, name: str) -> dict[str, Any]:
    """The attributes with one more class on head and cell."""
    given = dict(attrs or {})
    for part in ("th", "td"):
        cell = dict(given.get(part, {}))
        cell["class"] = f"{cell.get('class', '')} {name}".strip()
        given[part] = cell
    return given


class NumberColumn(tables.Column):
    """A number: right-aligned, and a number in the file too. ``none`` stands where there is none."""

    def __init__(self, *args: Any, none: str = "–", **kwargs: Any) -> None:
        kwargs.setdefault("default", none)
        super().__init__(*args, attrs=_classed(kwargs.pop("attrs", None), "num"), **kwargs)

    def value(self, value: Any) -> Any:
        return value


class NoColumn(tables.Column):
    """The first cell: position, line number or latest start, large."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, attrs=_classed(kwargs.pop("attrs", None), "no"), **kwargs)

    def value(self, value: Any) -> Any:
        return value


class CodeColumn(tables.Column):
    """A lot, serial, set, case or load number: never broken or grouped."""

    def render(self, value: Any) -> str:
        return format_html('<span class="code">{}</span>', value)

    def value(self, value: Any) -> str:
        return str(value)


class SecondLineColumn(tables.Column):
    """A fact, and under it a second soft one: ``under`` names the record's attribute (dots allowed)."""

    def __init__(self, *args: Any, under: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.under = tables.A(under)

    def render(self, value: Any, record: Any) -> str:
        second = self.under.resolve(record, quiet=True)
        if second in (None, ""):
            return format_html("{}", value)
        return format_html('{}<span class="soft under">{}</span>', value, second)

    def value(self, value: Any, record: Any) -> str:
        second = self.under.resolve(record, quiet=True)
        return str(value) if second in (None, "") else f"{value}, {second}"


class WhenColumn(tables.Column):
    """A moment or a day in the site's zone; ``form`` as for ``sitetime``."""

    def __init__(self, *args: Any, form: str = "near", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.form = form

    def render(self, value: Any) -> str:
        return format_html('<span class="nowrap">{}</span>', sitetime(value, self.form))

    def value(self, value: Any) -> date | datetime:
        if isinstance(value, datetime) and timezone.is_aware(value):
            return timezone.localtime(value).replace(tzinfo=None)
        moment: date | datetime = value
        return moment


class ActColumn(tables.Column):
    """The next act as a link (``linkify``), and under it the deadline, which ``by`` names."""

    def __init__(self, *args: Any, by: str = "", **kwargs: Any) -> None:
        kwargs.setdefault("orderable", False)
        kwargs.setdefault("default", "")
        attrs = dict(kwargs.pop("attrs", None) or {})
        attrs.setdefault("a", {"class": "do"})
        super().__init__(*args, attrs=attrs, **kwargs)
        self.by = tables.A(by) if by else None

    def _deadline(self, record: Any) -> str:
        deadline = self.by.resolve(record, quiet=True) if self.by else None
        return sitetime(deadline) if isinstance(deadline, date | datetime) else str(deadline or "")

    def render(self, value: Any, record: Any) -> str:
        deadline = self._deadline(record)
        if not deadline:
            return format_html("<b>{}</b>", value)
        by = _("by %(time)s") % {"time": deadline}
        return format_html('<b>{}</b><span class="soft under">{}</span>', value, by)

    def value(self, value: Any, record: Any) -> str:
        deadline = self._deadline(record)
        return f"{value}, {_('by %(time)s') % {'time': deadline}}" if deadline else str(value)


class VerdictColumn(tables.Column):
    """A verdict as mark and word; ``chance`` and ``target`` name the record's attributes for its figures.

    ``at_most`` names an attribute that is true where the chance is only a bound.
    """

    def __init__(
        self, *args: Any, chance: str = "", target: str = "", at_most: str = "", **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.chance, self.target, self.at_most = (
            tables.A(name) if name else None for name in (chance, target, at_most)
        )

    def _figures(self, record: Any) -> tuple[Any, Any, bool]:
        chance, target, bound = (
            accessor.resolve(record, quiet=True) if accessor else None
            for accessor in (self.chance, self.target, self.at_most)
        )
        return chance, target, bool(bound)

    def render(self, value: Any, record: Any) -> str:
        chance, target, bound = self._figures(record)
        state = wording.verdict_state(value)
        return render_to_string(
            "parts/verdict.html",
            {
                "state": state,
                "word": wording.verdict_word(state),
                "figures": wording.verdict_figures(chance, target, at_most=bound),
            },
        )

    def value(self, value: Any, record: Any) -> str:
        chance, target, bound = self._figures(record)
        return wording.verdict_line(value, chance, target, at_most=bound)


class Lines(tables.Table):
    """The base of every table.

    Class attributes: ``name`` (what the region is called aloud), ``row_head`` (the column that names
    the row), ``looks`` (flat, mid, still, list, again, or own classes), ``empty`` (a sentence that says
    whether that is good, and the first step), ``files`` (whether the lines can be had as a file).
    """

    name: ClassVar[str | Promise] = _("Lines")
    row_head: ClassVar[str] = ""
    looks: ClassVar[tuple[str, ...]] = ()
    empty: ClassVar[tuple[str | Promise, str | Promise]] = (_("No lines."), "")
    files: ClassVar[bool] = True
    caption: ClassVar[str | Promise] = ""

    class Meta:
        template_name = "parts/table.html"
        default = "–"
        per_page = PER_PAGE

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs["attrs"] = {"class": " ".join(("lines", *self.looks)), **(kwargs.get("attrs") or {})}
        # Given here as well as in Meta, which a table without a Meta of its own does not inherit.
        kwargs.setdefault("template_name", Lines.Meta.template_name)
        kwargs.setdefault("default", Lines.Meta.default)
        super().__init__(*args, **kwargs)

    @property
    def container_id(self) -> str:
        """The id of the element that htmx swaps: the same for every request to this table."""
        return f"{slugify(self.prefix) or 'table'}-lines"

    @property
    def as_file_field(self) -> str:
        return f"{self.prefix}as"

    @tables.Table.order_by.setter
    def order_by(self, value: Any) -> None:
        """Sort by these columns; a name that no column has is passed over."""
        given = value.split(",") if isinstance(value, str) else (value or ())
        # No column's name holds a full stop, and the library warns of one.
        named = [alias for alias in given if "." not in alias]
        tables.Table.order_by.fset(self, named)

    @property
    def has_no_lines(self) -> bool:
        """Whether there is nothing to show; no query beyond the count that paging makes."""
        if getattr(self, "page", None) is not None:
            return bool(self.paginator.count == 0)
        return len(self.rows) == 0

    def row_class(self, record: Any) -> str:
        """The class of a line: needs (an act), here (under the hand), past (done); "" for the others."""
        return ""

    def group(self, record: Any) -> str:
        """The words of the group this line stands in; "" for none. Lines must come sorted by it."""
        return ""

    def lines(self) -> Iterator[dict[str, Any]]:
        """The lines of this page as the template draws them; ``group`` only where a new one begins."""
        before = ""
        for row in self.paginated_rows:
            group = self.group(row.record)
            yield {
                "row": row,
                "class": self.row_class(row.record),
                "group": group if group != before else "",
            }
            before = group

    def paginate(self, *args: Any, **kwargs: Any) -> "Lines":
        kwargs["per_page"] = min(max(int(kwargs.get("per_page") or self._meta.per_page), 1), PER_PAGE_MOST)
        super().paginate(*args, **kwargs)
        return self


def answer_table(
    request: HttpRequest,
    table: Lines,
    template: str,
    context: Mapping[str, Any] | None = None,
    *,
    file_name: str = "lines",
    per_page: int = PER_PAGE,
    status: int = 200,
) -> HttpResponse:
    """The page with its ``table``; only the lines for htmx; a file of them for ``?as=csv`` or xlsx."""
    return answer_tables(
        request, {"table": table}, template, context, file_name=file_name, per_page=per_page, status=status
    )


def answer_tables(
    request: HttpRequest,
    given: Mapping[str, Lines],
    template: str,
    context: Mapping[str, Any] | None = None,
    *,
    file_name: str = "lines",
    per_page: int = PER_PAGE,
    status: int = 200,
) -> HttpResponse:
    """As ``answer_table`` for several tables by their names in the template; each needs its prefix."""
    for name, table in given.items():
        kind = request.GET.get(table.as_file_field, "")
        if table.files and kind in FILES:
            RequestConfig(request, paginate=False).configure(table)
            return table_file(table, kind, file_name if len(given) == 1 else f"{file_name}-{slugify(name)}")
    target = request.htmx.target if wants_part(request) else None  # type: ignore[attr-defined]
    for table in given.values():
        RequestConfig(request, paginate={"per_page": per_page}).configure(table)
        if target == table.container_id:
            return answer_page(request, "parts/table_alone.html", {"table": table}, status=status)
    return answer_page(request, template, {**(context or {}), **given}, status=status)


def table_file(table: Lines, kind: str, file_name: str) -> HttpResponse:
    """Every line of the table, as it is sorted and filtered, as a file to keep."""
    write, content_type = FILES[kind]
    heads, *rows = ([_without_markup(cell) for cell in row] for row in table.as_values())
    answer = HttpResponse(write(rows, heads), content_type=content_type)
    answer["Content-Disposition"] = f'attachment; filename="{slugify(file_name) or "lines"}.{kind}"'
    answer["Cache-Control"] = "no-store"
    return answer


def _without_markup(cell: Any) -> Any:
    """A cell without tags: a ``render_x`` that has no ``value_x`` beside it gives HTML to files too."""
    if isinstance(cell, SafeData):
        return " ".join(unescape(strip_tags(str(cell).replace("<", " <"))).split())
    return cell
