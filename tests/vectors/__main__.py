"""`python -m tests.vectors FOLDER`: exit code 0 if all that was run agrees, 1 if not, 2 for a bad folder."""

from __future__ import annotations

import sys
from pathlib import Path

from tests.vectors import HERE, BadFolderError, run_folder


def main(arguments: list[str]) -> int:
    """Run one folder (default: the vectors kept here) and print what was found."""
    if len(arguments) > 1:
        sys.stderr.write("Give one folder of vectors.\n")
        return 2
    try:
        reports = run_folder(Path(arguments[0]) if arguments else HERE)
    except BadFolderError as fault:
        sys.stderr.write(f"{fault}\n")
        return 2
    for report in reports:
        sys.stdout.write(f"{report.line()}\n")
        for failure in report.failures:
            sys.stdout.write(f"  {failure}\n")
    if not any(report.run for report in reports):
        sys.stdout.write("Nothing in this folder is run here.\n")
    return 1 if any(report.failures for report in reports) else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
