#!/usr/bin/env python3
"""Entry point of the administrative commands."""

import os
import sys

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.config.settings")
    # Small matrices: threads of the linear algebra library only get in each other's way.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from django.conf import settings
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        settings.INSTALLED_APPS  # noqa: B018  the first look reads them all
    except ImproperlyConfigured as fault:
        print(f"Settings: {fault}", file=sys.stderr)
        sys.exit(2)
    execute_from_command_line(sys.argv)
