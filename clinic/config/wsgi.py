"""WSGI entry point."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.config.settings")
# Small matrices: threads of the linear algebra library only get in each other's way.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
application = get_wsgi_application()
