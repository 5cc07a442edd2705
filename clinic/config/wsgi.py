"""WSGI entry point."""

import os
import sys

from django.core.exceptions import ImproperlyConfigured
from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.config.settings")
# Small matrices: threads of the linear algebra library only get in each other's way.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
try:
    application = get_wsgi_application()
except ImproperlyConfigured as fault:
    # The server prints it before it gives up; a traceback would bury it.
    sys.exit(f"Settings: {fault}")

# Pages and the libraries that draw are loaded before a process takes requests: otherwise the first person
# after a start waits for them.
from clinic.config import urls  # noqa: E402, F401
from clinic.config.loading import load_all  # noqa: E402

load_all()
