"""The first request after a start loads no library: the process did it before."""

from __future__ import annotations

import os
import subprocess
import sys

from tests.clinic.config.test_environment import ROOT

CODE = """
import sys
import clinic.config.wsgi
heavy = {"matplotlib", "scipy", "numpy", "shapely", "reportlab", "PIL", "clinic", "offload", "segno"}
ours = lambda: {name for name in sys.modules if name.split(".")[0] in heavy}
before = ours()
import io
from django.test import Client
from matplotlib.figure import Figure
assert Client().get("/sign-in/").status_code == 200
figure = Figure()
figure.subplots().plot([1, 2], label="x")
figure.savefig(io.BytesIO(), format="svg")
print(len(before), sorted(ours() - before))
"""


def test_the_first_page_and_the_first_picture_load_nothing_more(tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", CODE],
        cwd=ROOT,
        env={
            **{k: v for k, v in os.environ.items() if k != "DATABASE_URL"},
            "DJANGO_SETTINGS_MODULE": "clinic.config.settings",
            "ALLOWED_HOSTS": "testserver",
            "VAR_DIR": str(tmp_path),
        },
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    count, rest = done.stdout.strip().split(" ", 1)
    assert int(count) > 500
    assert rest == "[]"
