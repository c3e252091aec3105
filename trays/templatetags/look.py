"""Tags for the look: icons, verdicts, sides, codes, form fields, answers and faults."""

from collections.abc import Iterator
from datetime import date, datetime
from typing import Any

from django import template
from django.core.paginator import Page
from django.forms import BaseForm, BoundField
from django.forms.widgets import Input, PasswordInput, Textarea, TextInput
from django.template import Context
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from trays.web import look, wording
from trays.web.camera import offer_camera
from trays.web.errors import faults_from

register = template.Library()

# Name in templates -> symbol in icons.html.
ICONS = {
    "scan": "i-scan",
    "ok": "i-ok",
    "open": "i-open",
    "tick": "i-tick",
    "missing": "i-missing",
    "refused": "i-refused",
    "accepted": "i-accepted",
    "differs": "i-differs",
    "late": "i-late",
    "tray": "i-tray",
    "undo": "i-undo",
    "print": "i-print",
    "shelf": "i-shelf",
    "sign": "i-sign",
    "camera": "i-camera",
    "critical": "i-critical",
    "likely": "i-likely",
    "sealed": "i-sealed",
    "contingency": "i-contingency",
    "consumable": "i-consumable",
    "mark": "mark",
    "v-covered": "v-covered",
    "v-thin": "v-thin",
    "v-short": "v-short",
    "v-unknown": "v-unknown",
}
# A text field is as wide as what goes in, up to this many letters.
WIDEST_FIELD = 40

register.filter("in_hundred", wording.in_hundred)
register.filter("likely", wording.likely)


@register.filter
def sitetime(moment: datetime | date | None, form: str = "near") -> str:
    return wording.sitetime(moment, form)


@register.filter
def code(value: Any) -> SafeString | str:
    """A number or code in the face whose zero and O differ; "" for none."""
    return format_html('<span class="code">{}</span>', value) if value not in (None, "") else ""


@register.simple_tag
def icon(name: str, css: str = "i") -> SafeString:
    """A picture beside a word; never alone, so hidden from screen readers."""
    if name not in ICONS:
        raise template.TemplateSyntaxError(f"there is no icon called {name!r}; there are {', '.join(ICONS)}")
    return format_html('<svg class="{}" aria-hidden="true"><use href="#{}"/></svg>', css, ICONS[name])


@register.simple_tag
def side(value: Any) -> SafeString:
    """The side as a word, large: a lone letter or a picture can be taken for the other one."""
    words = {"left": _("left"), "right": _("right"), "both": _("both sides")}
    key = str(getattr(value, "value", value)).lower()
    if key in ("", "none"):
        return mark_safe("")
    return format_html('<b class="side">{}</b>', words.get(key, value))


@register.inclusion_tag("parts/verdict.html")
def verdict(
    state: Any,
    chance: Any = None,
    target: Any = None,
    *,
    at_most: bool = False,
    large: bool = False,
    brief: bool = False,
    css: str = "",
) -> dict[str, Any]:
    """Mark, word and figures: "Short 91 in 100; wanted 99"; ``brief`` leaves the bare figure."""
    known = wording.verdict_state(state)
    if brief:
        figures = "" if chance is None else wording.in_hundred(chance)
        under = _("at most %(chance)s") % {"chance": figures} if at_most and figures else ""
        figures = "" if under else figures
    else:
        figures, under = wording.verdict_figures(chance, target, at_most=at_most), ""
    return {
        "state": known,
        "word": wording.verdict_word(known),
        "figures": figures,
        "under": under,
        "large": large,
        "css": css,
    }


@register.inclusion_tag("parts/fields.html")
def form_fields(form: BaseForm) -> dict[str, Any]:
    """What is wrong, with links, then each field: label, hint, what is wrong with it, the field."""
    return {
        "form": form,
        "faults": faults_from(form) if form.is_bound else [],
        "hidden": form.hidden_fields(),
        "fields": [dict(_field(bound)) for bound in form.visible_fields()],
    }


@register.inclusion_tag("parts/faults.html")
def form_faults(form: BaseForm) -> dict[str, Any]:
    """Only what is wrong, for pages that place their fields themselves."""
    return {"faults": faults_from(form) if form.is_bound else []}


@register.inclusion_tag("parts/field.html")
def field(bound: BoundField) -> dict[str, Any]:
    """One field of a form."""
    return dict(_field(bound))


def _field(bound: BoundField) -> Iterator[tuple[str, Any]]:
    widget = bound.field.widget
    length = getattr(bound.field, "max_length", None)
    if isinstance(widget, TextInput | PasswordInput) and length and "size" not in widget.attrs:
        widget.attrs["size"] = min(int(length), WIDEST_FIELD)
    kind = getattr(widget, "input_type", "")
    values = {str(value) for value, _words in getattr(bound.field, "choices", ()) if value}
    yield "field", bound
    yield "group", bound.use_fieldset
    yield "tick", kind == "checkbox" and isinstance(widget, Input)
    yield "long", isinstance(widget, Textarea)
    yield "optional", not bound.field.required
    # The side is asked by two large buttons with the words, wherever it is asked.
    yield "sides", bool(values) and values <= {"left", "right", "both"}


@register.inclusion_tag("parts/answer.html")
def answer(
    what: Any, why: Any = "", next_step: Any = "", at: datetime | None = None, icon: str = "accepted"
) -> dict[str, Any]:
    """What was done or read, why, and the next step, with the time."""
    return {"what": what, "why": why, "next_step": next_step, "at": at, "icon": icon}


@register.inclusion_tag("parts/fault.html")
def fault(
    refusal: Any = None,
    *,
    what: Any = "",
    why: Any = "",
    next_step: Any = "",
    at: datetime | None = None,
    icon: str = "refused",
) -> dict[str, Any]:
    """What is not so, why, and the next step; or a Refusal, which has its own words."""
    if refusal is not None:
        what, next_step = refusal.sentence, refusal.next_step
    return {"what": what, "why": why, "next_step": next_step, "at": at, "icon": icon}


@register.inclusion_tag("parts/empty.html")
def empty(sentence: Any, step: Any = "") -> dict[str, Any]:
    """Nothing here: whether that is good, and the first step."""
    return {"sentence": sentence, "step": step}


@register.simple_tag(takes_context=True)
def look_attributes(context: Context) -> SafeString:
    """Theme for the stylesheet and sound for the scripts, on the html element."""
    theme = look.chosen(context.get("request"), "theme")
    attributes = format_html(' data-theme="{}"', theme) if theme else SafeString("")
    return attributes + (SafeString(' data-sound="on"') if sounds_here(context) else SafeString(""))


@register.simple_tag(takes_context=True)
def sounds_here(context: Context) -> bool:
    """Whether scans are heard: as the person chose here, else as the workstation is set, else not."""
    chosen = look.chosen(context.get("request"), "sound")
    return chosen == "on" if chosen else bool(getattr(context.get("workstation"), "sounds", False))


@register.simple_tag(takes_context=True)
def camera_offered(context: Context) -> bool:
    """Whether codes can be read by camera here; the page that asks so is allowed what the reader needs."""
    request = context.get("request")
    return request is not None and offer_camera(request)


@register.simple_tag(takes_context=True)
def look_choice(context: Context, name: str) -> str:
    """The choice made for ``theme`` or ``sound``, "" for the device's own way."""
    return look.chosen(context.get("request"), name)


@register.filter
def page_numbers(page: Page) -> list[int]:
    """The numbers of the pages to offer, 0 where some are left out."""
    numbers = page.paginator.get_elided_page_range(page.number, on_each_side=2, on_ends=1)
    return [number if isinstance(number, int) else 0 for number in numbers]


@register.simple_tag
def url_or_none(name: str) -> str:
    """The address of a page by its name, "" if this site has no such page."""
    try:
        return reverse(name)
    except NoReverseMatch:
        return ""
