"""The scan field in Chromium: real key events of a scanner, of a person, and pasting."""

import base64
from typing import Any

import pytest

from tests.scanner import CAPS_LOCK, GERMAN, GS, Scanner

pytestmark = pytest.mark.browser
GS1 = f"]d2010952123456789017271130{GS}21S1"
# Fast, but no scan to anybody: so many letters come from a hand that rolls over the keys.
ROLLED = 0.040


def told(page: Any, code: str) -> None:
    """Wait until the answer says that exactly this was read."""
    page.wait_for_selector(f"#answer >> text=Read {code.encode().hex()}", timeout=5000)


def nothing_was_sent(page: Any) -> None:
    page.wait_for_timeout(150)
    assert page.inner_text("#answer").strip() == ""


def test_the_separator_comes_through_however_the_scanner_sends_it(page: Any) -> None:
    page.goto("/stock/")
    for place in ("#a-button", "#scan"):
        for separator in ("ctrl", "alt", "key", "unnamed", "f8"):
            page.focus(place)
            code = f"{GS1}{place[1]}{separator}"
            Scanner(page, separator=separator).scan(code)
            told(page, code)
            assert page.input_value("#scan") == ""
    assert "scanned, scanner" in page.inner_text("#answer")


def test_a_separator_sent_as_text_stays_text_for_the_server_to_judge(page: Any) -> None:
    page.goto("/stock/")
    for text in ("<GS>", "{GS}", "#"):
        Scanner(page, separator=text).scan(GS1)
        told(page, GS1.replace(GS, text))


def test_a_scan_counts_wherever_the_cursor_is_and_changes_nothing_there(page: Any) -> None:
    page.goto("/stock/")
    page.evaluate("() => { document.getElementById('a-button').onclick = () => { window.pressed = true; }; }")
    page.fill("#a-field", "typed before")
    for number, place in enumerate(("#a-button", "#a-list", "#a-field", "#scan")):
        page.focus(place)
        code = f"{GS1}{number}"
        Scanner(page).scan(code)
        told(page, code)
    assert page.input_value("#a-field") == "typed before"
    assert page.input_value("#a-list") == "1"
    assert page.evaluate("() => window.pressed === true") is False


def test_either_key_ends_a_scan_also_in_the_scan_field(page: Any) -> None:
    page.goto("/stock/")
    for end in ("Enter", "Tab"):
        for place in ("#a-button", "#scan"):
            page.focus(place)
            Scanner(page, end=end).scan(f"{GS1}{end}{place[1]}")
            told(page, f"{GS1}{end}{place[1]}")


def test_the_second_of_two_last_keys_presses_nothing(page: Any) -> None:
    page.goto("/stock/")
    page.evaluate("() => { document.getElementById('a-button').onclick = () => { window.pressed = true; }; }")
    page.focus("#a-button")
    scanner = Scanner(page, end="Tab")
    scanner.scan(GS1)
    scanner.press("Enter")
    told(page, GS1)
    assert page.evaluate("() => window.pressed === true") is False


def test_a_plain_code_scanned_into_a_field_is_for_that_field(page: Any) -> None:
    page.goto("/stock/")
    page.focus("#a-field")
    Scanner(page).scan("L40722C-12")
    nothing_was_sent(page)
    assert page.input_value("#a-field") == "L40722C-12"


def test_quick_typing_into_a_list_of_choices_is_no_scan(page: Any) -> None:
    page.goto("/stock/")
    page.focus("#a-list")
    for word in ("5555", "55555"):
        Scanner(page, gap=0.01).scan(word)
        nothing_was_sent(page)
    Scanner(page, gap=ROLLED).scan("5555555555")
    nothing_was_sent(page)
    assert page.input_value("#a-list") == "5"


def test_slow_keys_are_a_person_not_a_scanner(page: Any) -> None:
    page.goto("/stock/")
    Scanner(page, gap=0.09, end="Tab").scan("0109521234")
    for place in ("#a-button", "#a-field", "#scan"):
        page.focus(place)
        Scanner(page, gap=0.09, end="Tab").scan("0109521234")
    nothing_was_sent(page)


def test_a_scanner_that_lags_can_be_told_to_the_page(page: Any) -> None:
    page.goto("/stock/")
    page.evaluate("() => { document.getElementById('scan-form').dataset.slower = '3'; }")
    Scanner(page, gap=0.11).scan(GS1)
    told(page, GS1)


def test_a_key_before_each_scan_makes_it_count_in_any_field(page: Any) -> None:
    page.goto("/stock/")
    page.evaluate("() => { document.getElementById('scan-form').dataset.prefix = 'F9'; }")
    page.fill("#a-field", "half a wo")
    Scanner(page, before="F9").scan("L40722C")
    told(page, "L40722C")
    assert page.input_value("#a-field") == "half a wo"


def test_a_sign_before_each_scan_goes_to_the_server_with_it(page: Any) -> None:
    page.goto("/stock/")
    page.evaluate("() => { document.getElementById('scan-form').dataset.prefix = '~'; }")
    page.focus("#a-field")
    Scanner(page).scan("~L40722C")
    told(page, "~L40722C")
    assert page.input_value("#a-field") == ""


def test_a_pause_may_end_a_scan(page: Any) -> None:
    page.goto("/stock/")
    page.evaluate("() => { document.getElementById('scan-form').dataset.suffix = 'none'; }")
    Scanner(page, end="").scan(GS1)
    told(page, GS1)
    page.reload()
    Scanner(page, end="").scan(GS1)
    nothing_was_sent(page)


def test_keys_can_be_taken_by_their_place_whatever_the_computer_makes_of_them(page: Any) -> None:
    code = f"]d20109521234567890{'10yZ-aQ/mW_7'}{GS}21Kk+1:2"
    page.goto("/stock/")
    page.evaluate("() => { document.getElementById('scan-form').dataset.byPosition = ''; }")
    for computer in (GERMAN, CAPS_LOCK):
        for place in ("#a-button", "#scan"):
            page.focus(place)
            Scanner(page, computer=computer).scan(code)
            told(page, code)
            page.reload()
            page.evaluate("() => { document.getElementById('scan-form').dataset.byPosition = ''; }")


def test_scans_that_come_faster_than_answers_are_answered_one_after_the_other(page: Any) -> None:
    page.goto("/stock/")
    page.evaluate(
        "() => { window.sent = []; document.body.addEventListener('htmx:afterRequest',"
        " (event) => window.sent.push(event.detail.requestConfig.parameters.raw)); }"
    )
    codes = ["SLOW1", f"{GS1}1", "SLOW2", f"{GS1}2", f"{GS1}3"]
    scanner = Scanner(page, gap=0.001)
    for code in codes:
        scanner.scan(code)
    told(page, codes[-1])
    sent = [base64.b64decode(raw).decode() for raw in page.evaluate("() => window.sent")]
    assert sent == codes


def test_the_scan_field_takes_what_is_typed_and_is_free_again(page: Any) -> None:
    page.goto("/stock/")
    page.fill("#scan", "L40722C")
    page.press("#scan", "Enter")
    told(page, "L40722C")
    assert "scanned, typed" in page.inner_text("#answer")
    assert page.input_value("#scan") == ""


def paste(page: Any, text: str) -> None:
    page.evaluate(
        """(text) => {
          const data = new DataTransfer();
          data.setData("text/plain", text);
          const made = { clipboardData: data, bubbles: true, cancelable: true };
          (document.activeElement ?? document.body).dispatchEvent(new ClipboardEvent("paste", made));
        }""",
        text,
    )


def test_a_code_can_be_pasted_anywhere_and_keeps_its_separators(page: Any) -> None:
    page.goto("/stock/")
    paste(page, f"{GS1}\r\n")
    told(page, GS1)
    assert "scanned, pasted" in page.inner_text("#answer")
    page.reload()
    page.focus("#scan")
    paste(page, GS1)
    nothing_was_sent(page)
    page.press("#scan", "Enter")
    told(page, GS1)


def test_other_text_that_is_pasted_waits_in_the_scan_field_to_be_looked_at(page: Any) -> None:
    page.goto("/stock/")
    paste(page, "something from another window")
    nothing_was_sent(page)
    assert page.input_value("#scan") == "something from another window"
    page.focus("#a-field")
    paste(page, GS1)
    nothing_was_sent(page)


def test_a_scan_that_did_not_reach_the_server_is_not_lost_and_is_sent_again_as_the_same(page: Any) -> None:
    keys: list[str] = []
    page.on("request", lambda request: keys.append(_key(request)) if request.url.endswith("/scan/") else None)
    page.goto("/stock/")
    page.context.set_offline(True)
    Scanner(page).scan(GS1)
    page.wait_for_selector("text=The scan did not reach the server.")
    page.context.set_offline(False)
    page.press("#scan", "Enter")
    told(page, GS1)
    assert len(keys) == 2 and keys[0] == keys[1] != ""


def _key(request: Any) -> str:
    body: str = request.post_data or ""
    return body.partition("client_key=")[2].partition("&")[0]


def test_the_answer_stands_first_in_main_and_stays_until_the_next_scan(page: Any) -> None:
    page.goto("/stock/")
    Scanner(page).scan("FIRST1")
    told(page, "FIRST1")
    Scanner(page).scan("SECOND2")
    told(page, "SECOND2")
    assert b"FIRST1".hex() not in page.inner_text("#answer")
    assert page.evaluate("() => document.querySelector('main').firstElementChild.id") == "answer"


EARS = """
  window.heard = [];
  window.AudioContext = class {
    constructor() { this.currentTime = 0; this.destination = {}; }
    createGain() { return { gain: {}, connect: (to) => to }; }
    createOscillator() {
      const voice = { frequency: {}, connect: (to) => to };
      voice.start = (from) => { voice.from = from; };
      voice.stop = (to) => window.heard.push(
        [voice.frequency.value, Math.round(voice.from * 1000), Math.round((to - voice.from) * 1000)]);
      return voice;
    }
  };
"""


def test_an_accepted_scan_is_one_high_tone_a_refused_one_two_low_and_off_means_silence(page: Any) -> None:
    page.add_init_script(EARS)
    page.goto("/stock/")
    Scanner(page).scan("12345")
    told(page, "12345")
    assert page.evaluate("() => window.heard") == []
    page.evaluate("() => { document.documentElement.dataset.sound = 'on'; }")
    Scanner(page).scan("23456")
    told(page, "23456")
    assert page.evaluate("() => window.heard.splice(0)") == [[880, 0, 70]]
    page.fill("#scan", " ")
    page.press("#scan", "Enter")
    page.wait_for_selector("#answer [role=alert]")
    # Two of 90 ms, 60 ms apart.
    assert page.evaluate("() => window.heard.splice(0)") == [[220, 0, 90], [220, 150, 90]]
