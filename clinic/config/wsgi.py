"""WSGI entry point: a server loads here what its first request would otherwise wait for."""

import os
import sys
from importlib import import_module
from pkgutil import iter_modules

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


def load() -> None:
    """Import the routes and what views import only where they draw or print.

    Here and not in `AppConfig.ready`: management commands do without, and start faster. No row is read, so a
    server may call this before it forks.
    """
    from django.conf import settings

    import_module(settings.ROOT_URLCONF)
    import_module("clinic.audit.prints")
    for slow in ("stats", "interpolate", "optimize"):
        import_module(f"scipy.{slow}")
    charts = import_module("clinic.charts")
    for module in iter_modules(charts.__path__):
        import_module(f"clinic.charts.{module.name}")
    # The drawing library looks for its fonts and its writer of SVG at the first figure only.
    from clinic.charts.style import as_svg, sheet

    with sheet() as figure:
        figure.text(0, 0, "–")
        as_svg(figure, "")


load()
