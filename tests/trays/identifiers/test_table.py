"""The table of identifiers, and that it is what the generator makes."""

import json
from pathlib import Path

import pytest

from trays.identifiers import generate, lint, table

LINES = """\
# a comment
00         *?  N18,csum,gcppos2                  dlpkey                                # SSCC
253        ?  N13,csum,gcppos1 [X..17]          dlpkey                                 # GDTI
3920-3921   ?  N..15  req=01+30,01+31nn ex=392n,393n                                   # PRICE
250        ?  X..30                              req=01+21,03+21                       # SECONDARY SERIAL
414        *?  N13,csum,gcppos1                  dlpkey=254|7040                       # LOC No.
90             X..30                                                                   # INTERNAL
"""


def test_the_generator_reads_a_line_of_each_kind() -> None:
    made = generate.table(LINES)
    assert sorted(made) == ["00", "250", "253", "3920", "3921", "414", "90"]
    assert made["00"]["predefined"] and not made["253"]["predefined"]
    assert made["253"]["parts"][1] == {"set": "X", "least": 1, "most": 17, "optional": True, "checks": []}
    assert made["3921"]["needs"] == [[["01", "30"], ["01", "31nn"]]]
    assert made["3921"]["excludes"] == ["392n", "393n"]
    assert made["90"]["title"] == "INTERNAL"
    assert (made["00"]["attribute"], made["90"]["attribute"]) == (True, False)
    assert (made["00"]["key"], made["90"]["key"]) == ([], None)
    assert made["414"]["key"] == [["254"], ["7040"]]


def test_a_line_that_is_not_understood_stops_the_generator() -> None:
    with pytest.raises(ValueError, match="Not understood"):
        generate.table("01 * N14 colour=blue # GTIN")


def test_the_generator_writes_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    source, target = tmp_path / "dictionary.txt", tmp_path / "table.json"
    source.write_text(LINES, encoding="utf-8")
    monkeypatch.setattr(generate, "TABLE_FILE", target)
    assert generate.main([str(source)]) == 0
    assert json.loads(target.read_text(encoding="utf-8")) == generate.table(LINES)
    assert generate.main(["one", "two"]) == 2


def test_the_table_is_what_the_generator_makes_of_the_dictionary() -> None:
    made = generate.table(generate.DICTIONARY_FILE.read_text(encoding="utf-8"))
    assert json.loads(table.TABLE_FILE.read_text(encoding="utf-8")) == made
    assert "Apache License" in generate.DICTIONARY_FILE.read_text(encoding="utf-8")


def test_the_licence_stands_beside_the_data() -> None:
    notice = table.TABLE_FILE.with_name("ai_table.NOTICE.txt").read_text(encoding="utf-8")
    assert "GS1 AISBL" in notice and "Apache License, Version 2.0" in notice
    assert table.TABLE_FILE.with_name("ai_table.LICENSE.txt").exists()


def test_no_identifier_is_the_start_of_another() -> None:
    known = sorted(table.definitions())
    assert len(known) > 500
    assert not [b for a, b in zip(known, known[1:], strict=False) if b.startswith(a)]


def test_predefined_lengths_are_those_of_the_table() -> None:
    for ai, definition in table.definitions().items():
        fixed = table.PREDEFINED_LENGTH.get(ai[:2])
        assert definition.predefined == (fixed is not None)
        if fixed is not None:
            assert definition.least == definition.most == fixed - len(ai)


@pytest.mark.parametrize(
    ("ai", "least", "most", "predefined"),
    [
        ("01", 14, 14, True), ("10", 1, 20, False), ("8003", 14, 30, False), ("8004", 1, 30, False),
        ("414", 13, 13, True), ("254", 1, 20, False), ("253", 13, 30, False), ("7003", 10, 10, False),
        ("8017", 18, 18, False), ("91", 1, 90, False),
    ],
)  # fmt: skip
def test_rows_of_the_trade_reference(ai: str, least: int, most: int, predefined: bool) -> None:
    found = table.definitions()[ai]
    assert (found.least, found.most, found.predefined) == (least, most, predefined)


def test_every_check_that_the_dictionary_names_is_done_or_said_not_to_be() -> None:
    named = {check for d in table.definitions().values() for check in d.checks}
    assert named == lint.known_checks() | lint.NOT_CHECKED


def test_patterns_are_written_out() -> None:
    assert table.expanded("310n") == {f"310{n}" for n in range(6)}
    assert table.expanded("01") == {"01"}
    assert table.definitions()["3103"].excluded == {"3100", "3101", "3102", "3104", "3105"}


@pytest.mark.parametrize(
    ("text", "length"),
    [("14", 8), ("19", 8), ("3199", 10), ("3699", 10), ("418", 16), ("04", 18), ("2307", 4), ("239", 22)],
)
def test_lengths_hold_for_identifiers_not_yet_given_out_and_for_the_retired_one(
    text: str, length: int
) -> None:
    assert table.find(text) is None or text == "418"
    assert table.fixed_length(text) == length


@pytest.mark.parametrize("text", ["235", "10", "21", "30", "37", "7003", "8003", "99", "23", "23x", ""])
def test_others_end_with_a_separator(text: str) -> None:
    assert table.fixed_length(text) is None
