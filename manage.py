#!/usr/bin/env python
"""Makerlab's command line."""

import os
import sys
from pathlib import Path


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "makerlab.settings")
    root = Path(__file__).resolve().parent
    # so that a checkout works before it is installed; queue/ is a source folder, not a package
    for folder in (root / "queue", root):
        if str(folder) not in sys.path:
            sys.path.insert(0, str(folder))
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main()
