#!/usr/bin/env python3
"""The one door to every command; brings its own environment along before Django is asked for."""

import os
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
if HERE not in sys.path:
    sys.path.insert(0, HERE)

from dosewright.roof import bootstrap


def main():
    # type: () -> None
    """Make sure of the locked packages, then hand the command to Django."""
    bootstrap.ensure(sys.argv)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "dosewright.roof.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
