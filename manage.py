#!/usr/bin/env python
"""Run Withstand's management commands."""

import os
import sys


def main() -> None:
    """Hand the command line to Django."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labsite.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
