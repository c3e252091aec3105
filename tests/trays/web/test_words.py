"""Chances, times and verdicts in words."""

from datetime import UTC, date, datetime
from decimal import Decimal
from enum import Enum
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.template import Context, Template, TemplateSyntaxError
from django.utils import timezone

from trays.web.wording import in_hundred, likely, sitetime, verdict_figures, verdict_line, verdict_state


def drawn(source: str, **context: Any) -> str:
    return Template("{% load look %}" + source).render(Context(context)).strip()


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.914, "91"),
        (0.919, "91"),
        (0.9899, "98"),
        (0.99, "99"),
        (0.9949, "99"),
        (0.996, "over 99"),
        (1, "100"),
        (0, "0"),
        (0.004, "<1"),
        (0.01, "1"),
        (0.29, "29"),
        (Decimal("0.57"), "57"),
        (None, "–"),
    ],
)
def test_a_chance_in_a_hundred_is_never_overstated(chance: Any, words: str) -> None:
    assert in_hundred(chance) == words


@pytest.mark.parametrize("target", range(1, 100))
def test_the_figure_reaches_a_target_exactly_when_the_chance_does(target: int) -> None:
    wanted = target / 100
    for chance in (wanted - 0.0001, wanted, wanted + 0.0001):
        figure = in_hundred(chance)
        shown = 99.5 if figure == "over 99" else 0.5 if figure == "<1" else float(figure)
        assert (shown >= target) == (chance >= wanted), (chance, figure)


@pytest.mark.parametrize(
    ("chance", "words"),
    [(0.555, "56"), (0.004, "<1"), (0.005, "1"), (0, "–"), (0.997, "over 99"), (1, "100"), (None, "–")],
)
def test_a_likelihood_is_rounded_to_the_nearest(chance: Any, words: str) -> None:
    assert likely(chance) == words


@pytest.mark.parametrize("nonsense", [-0.2, 1.01, 91])
def test_what_is_no_chance_is_refused(nonsense: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        in_hundred(nonsense)


def test_a_verdict_says_its_figures_and_what_was_wanted() -> None:
    assert verdict_line("short", 0.914, 0.99) == "Short, 91 in 100; wanted 99"
    assert verdict_line("short", 0.914, 0.99, at_most=True) == "Short, at most 91 in 100; wanted 99"
    assert verdict_figures(0.914) == "91 in 100"
    assert verdict_line("not known") == "Not known"


def test_a_verdict_is_known_by_word_value_or_member() -> None:
    class State(Enum):
        UNKNOWN = "not-known"
        THIN = "thin"

    assert [verdict_state(state) for state in (State.UNKNOWN, State.THIN, "Covered", None)] == [
        "unknown",
        "thin",
        "covered",
        "unknown",
    ]
    with pytest.raises(ValueError, match="no verdict"):
        verdict_state("amber")


def test_a_drawn_verdict_has_mark_word_and_figures() -> None:
    html = drawn('{% verdict "thin" 0.97 0.99 %}')
    assert 'href="#v-thin"' in html
    assert "<b>Thin</b> 97 in 100; wanted 99" in html
    assert 'aria-hidden="true"' in html
    assert "at most 84" in drawn('{% verdict "short" 0.84 at_most=True brief=True %}')
    assert drawn('{% verdict "covered" 0.99 brief=True %}').endswith("<b>Covered</b> 99</span>")


def test_times_are_shown_in_the_sites_zone() -> None:
    moment = datetime(2026, 7, 7, 11, 5, 9, tzinfo=UTC)
    with timezone.override(ZoneInfo("Europe/London")):
        assert sitetime(moment) == "Tue 7 Jul, 12:05"
        assert sitetime(moment, "time") == "12:05"
        assert sitetime(moment, "seconds") == "12:05:09"
        assert sitetime(moment, "full") == "7 July 2026, 12:05"
        assert drawn('{{ at|sitetime:"day" }}', at=moment) == "Tue 7 Jul"
    with timezone.override(ZoneInfo("Asia/Tokyo")):
        assert sitetime(moment, "time") == "20:05"


def test_a_plain_day_has_no_time_and_no_zone() -> None:
    assert sitetime(date(2026, 12, 8)) == "Tue 8 Dec"
    assert sitetime(date(2026, 12, 8), "full") == "8 December 2026"
    assert sitetime(None) == ""


def test_every_icon_of_the_tags_is_in_the_sheet_of_icons() -> None:
    from django.template.loader import render_to_string

    from trays.templatetags.look import ICONS

    sheet = render_to_string("icons.html")
    for name, symbol in ICONS.items():
        assert f'id="{symbol}"' in sheet, name


def test_an_icon_that_does_not_exist_is_found_at_once() -> None:
    with pytest.raises(TemplateSyntaxError, match="no icon called 'lamp'"):
        drawn('{% icon "lamp" %}')


def test_sides_and_codes_are_marked_and_escaped() -> None:
    assert drawn('{% side "right" %}') == '<b class="side">right</b>'
    assert drawn("{{ lot|code }}", lot="<L4>") == '<span class="code">&lt;L4&gt;</span>'
    assert drawn("{{ lot|code }}", lot=None) == ""


def test_an_empty_list_says_whether_that_is_good_and_the_first_step() -> None:
    html = drawn('{% empty "Nothing is short." "Next check: when a case is booked." %}')
    assert html == '<p class="empty">Nothing is short. Next check: when a case is booked.</p>'
