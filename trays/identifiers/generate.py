"""Makes ``ai_table.json`` from the GS1 Barcode Syntax Dictionary, ``ai_dictionary.txt``.

Put a newer dictionary in its place and run ``python -m trays.identifiers.generate``.
"""

import json
import re
import sys
from pathlib import Path
from typing import Any

DICTIONARY_FILE = Path(__file__).parent / "ai_dictionary.txt"
TABLE_FILE = Path(__file__).parent / "ai_table.json"
_FLAGS = set("*!?\"$%&'()+,-./:;<=>@[\\]^_`{|}~")
_COMPONENT = re.compile(
    r"^(?P<open>\[?)(?P<set>[NXYZ])(?P<open_end>\.\.)?(?P<most>\d+)\]?(?P<checks>(,\w+)*)$"
)


def _component(word: str) -> dict[str, Any] | None:
    found = _COMPONENT.match(word)
    if found is None:
        return None
    most = int(found["most"])
    return {
        "set": found["set"],
        "least": 1 if found["open_end"] else most,
        "most": most,
        "optional": bool(found["open"]),
        "checks": [c for c in found["checks"].split(",") if c],
    }


def _identifiers(word: str) -> list[str]:
    if "-" not in word:
        return [word]
    first, last = word.split("-")
    return [str(n).rjust(len(first), "0") for n in range(int(first), int(last) + 1)]


def _entry(line: str) -> tuple[list[str], dict[str, Any]]:
    content, _, title = line.partition("#")
    words = content.split()
    identifiers = _identifiers(words.pop(0))
    flags = words.pop(0) if set(words[0]) <= _FLAGS else ""
    row: dict[str, Any] = {
        "title": title.strip(),
        "predefined": "*" in flags,
        "parts": [],
        "needs": [],
        "excludes": [],
        "attribute": "?" in flags,
        "key": None,
    }
    for word in words:
        component = _component(word)
        key, _, value = word.partition("=")
        if component is not None:
            row["parts"].append(component)
        elif key == "req":
            row["needs"].append([group.split("+") for group in value.split(",")])
        elif key == "ex":
            row["excludes"] += value.split(",")
        elif key == "dlpkey":
            row["key"] = [one.split(",") for one in value.split("|")] if value else []
        else:
            raise ValueError(f"Not understood in the dictionary: {word}")
    return identifiers, row


def table(text: str) -> dict[str, dict[str, Any]]:
    """The dictionary's text as one entry per AI. Raises ValueError for a line that is not understood."""
    made: dict[str, dict[str, Any]] = {}
    for line in text.splitlines():
        if line.strip() and not line.startswith("#"):
            identifiers, row = _entry(line)
            made.update(dict.fromkeys(identifiers, row))
    return made


def main(arguments: list[str]) -> int:
    """Write the table; one AI a line, so that a new dictionary shows its changes."""
    if len(arguments) > 1:
        sys.stderr.write("Usage: python -m trays.identifiers.generate [DICTIONARY]\n")
        return 2
    source = Path(arguments[0]) if arguments else DICTIONARY_FILE
    rows = table(source.read_text(encoding="utf-8"))
    lines = ",\n".join(
        f"{json.dumps(ai)}: {json.dumps(row, ensure_ascii=False)}" for ai, row in sorted(rows.items())
    )
    TABLE_FILE.write_text("{\n" + lines + "\n}\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
