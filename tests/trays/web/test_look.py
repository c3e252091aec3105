"""The look as files: contrast of the tokens, and nothing in a template that the policy would refuse."""

import re
from itertools import product
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
STYLES = ROOT / "trays" / "static" / "trays" / "css"
SURFACES = ("paper", "sheet", "tint", "warm", "cool")
# Least contrast of each token on every surface (WCAG 2.2): text 7, small signs of state and outlines 3.
LEAST = {
    "ink": 7.0,
    "soft": 7.0,
    "act": 7.0,
    "edge": 3.0,
    "focus": 3.0,
    "covered": 3.0,
    "thin": 3.0,
    "short": 3.0,
    "unknown": 3.0,
}
Tokens = dict[str, str]


def declared(block: str) -> Tokens:
    return {name: colour.upper() for name, colour in re.findall(r"--([a-z-]+):\s*(#[0-9A-Fa-f]{6})", block)}


def themes() -> dict[str, Tokens]:
    text = (STYLES / "tokens.css").read_text()
    light = re.search(r":root \{(.*?)\}", text, re.S)
    system = re.search(r':root:not\(\[data-theme="light"\]\) \{(.*?)\}', text, re.S)
    dark = re.search(r':root\[data-theme="dark"\] \{(.*?)\}', text, re.S)
    assert light is not None
    assert system is not None
    assert dark is not None
    return {"light": declared(light[1]), "system": declared(system[1]), "dark": declared(dark[1])}


def luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    brighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (brighter + 0.05) / (darker + 0.05)


def test_the_measure_itself_is_right() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize(("theme", "token"), list(product(("light", "dark"), LEAST)))
def test_a_token_stands_out_on_every_surface(theme: str, token: str) -> None:
    tokens = themes()[theme]
    least = min(contrast(tokens[token], tokens[surface]) for surface in SURFACES)
    assert least >= LEAST[token], f"{token} has {least:.2f} in {theme}"


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_words_on_a_filled_button_can_be_read(theme: str) -> None:
    tokens = themes()[theme]
    assert contrast(tokens["on-act"], tokens["act"]) >= 7


def test_dark_by_choice_and_dark_by_the_device_are_the_same() -> None:
    found = themes()
    assert found["system"] == found["dark"]
    assert set(found["dark"]) == set(found["light"])


def test_colours_stand_in_the_tokens_only() -> None:
    for sheet in STYLES.glob("*.css"):
        if sheet.name != "tokens.css":
            assert not re.search(r"#[0-9A-Fa-f]{3,8}\b(?![^{]*\{)", sheet.read_text()), sheet.name


def test_every_custom_property_that_is_used_exists() -> None:
    everything = "".join(sheet.read_text() for sheet in STYLES.glob("*.css"))
    known = set(re.findall(r"--([a-z0-9-]+)\s*:", everything))
    assert set(re.findall(r"var\(--([a-z0-9-]+)", everything)) <= known


def all_templates() -> list[Path]:
    return sorted([*ROOT.glob("templates/**/*.html"), *ROOT.glob("*/templates/**/*.html")])


REFUSED_BY_THE_POLICY = {
    "an inline style": re.compile(r"<[^>]*\sstyle\s*=", re.I),
    "a style element": re.compile(r"<style\b", re.I),
    "an event attribute": re.compile(r"<[^>]*\son[a-z]+\s*=", re.I),
    "an htmx event attribute": re.compile(r"\shx-on[:-]", re.I),
    "a script without a source": re.compile(r"<script\b(?![^>]*\ssrc=)", re.I),
    "an address that is a script": re.compile(r"javascript:", re.I),
    "htmx evaluation": re.compile(r"hx-(?:vals|headers|vars)\s*=\s*['\"]\s*js:", re.I),
    "something from another site": re.compile(r"(?:src|href)\s*=\s*[\"'](?:https?:)?//", re.I),
}


@pytest.mark.parametrize("what", REFUSED_BY_THE_POLICY)
def test_no_template_holds_what_the_policy_refuses(what: str) -> None:
    templates = all_templates()
    assert len(templates) > 20
    faulty = [
        str(page.relative_to(ROOT))
        for page in templates
        if REFUSED_BY_THE_POLICY[what].search(page.read_text())
    ]
    assert faulty == [], f"{what} in {faulty}"


@pytest.mark.parametrize(
    ("what", "markup"),
    [
        ("an inline style", '<p class="a" style="color:red">'),
        ("an event attribute", '<a href="#" onclick="x()">'),
        ("a script without a source", "<script>x()</script>"),
        ("a script without a source", '<script type="module">x()</script>'),
        ("something from another site", '<script src="https://example.org/x.js">'),
    ],
)
def test_the_search_would_find_it(what: str, markup: str) -> None:
    assert REFUSED_BY_THE_POLICY[what].search(markup)


def test_our_scripts_evaluate_no_text_and_ask_no_other_site() -> None:
    for script in ROOT.glob("*/static/**/*.js"):
        text = script.read_text()
        assert not re.search(r"\beval\(|new Function\(|\.innerHTML\s*=|https?://(?!www\.w3\.org/)", text), (
            script.name
        )


def test_words_on_screen_have_no_exclamation_marks() -> None:
    for page in all_templates():
        text = re.sub(r"<!--|<!doctype|{#.*?#}|!=", "", page.read_text(), flags=re.S | re.I)
        assert "!" not in text, page.name
