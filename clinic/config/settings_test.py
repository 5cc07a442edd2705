"""Settings of the test run: fast passwords, a database file of its own, plain static files."""

import os
import tempfile
from pathlib import Path

os.environ.setdefault("VAR_DIR", str(Path(tempfile.gettempdir()) / "offloading-clinic-tests"))

from clinic.config.settings import *  # noqa: E402, F403
from clinic.config.settings import BASE_DIR, DATABASES  # noqa: E402

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
# The schema straight from the models: `migrate` costs seconds of processor time; tests that need a
# migrated database copy the one file that `tests/migrated.py` makes.
DATABASES["default"]["TEST"] = {"MIGRATE": False}
# SQLite in memory locks the whole table for the live server's threads; a file behaves as in the clinic.
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["TEST"]["NAME"] = os.environ.get("PYTEST_DB", str(BASE_DIR / ".pytest-db.sqlite3"))
ALLOWED_HOSTS = ["testserver", "127.0.0.1", "localhost"]
# Each test's client starts the middlewares anew: files are looked up when asked for, not listed each time.
WHITENOISE_AUTOREFRESH = True
