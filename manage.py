#!/usr/bin/env python
"""Django's command line; two commands bring a database of their own and prepare it first."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    command = sys.argv[1] if len(sys.argv) > 1 else ""
    if command in {"demo", "papers"}:
        from config import demo_environment

        if command == "demo":
            demo_environment.prepare()
        else:
            demo_environment.prepare_scratch()
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
