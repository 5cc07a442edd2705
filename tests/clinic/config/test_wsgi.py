"""A server has loaded everything before it answers; a management command loads none of it."""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
#: What costs seconds to import and is needed for pages only.
HEAVY = {"matplotlib", "reportlab", "ezdxf", "shapely", "pillow_heif", "scipy.stats", "scipy.interpolate"}


def modules_after(code):
    code = f"import json, sys\n{code}\nprint(json.dumps(sorted(sys.modules)))"
    settings = {"DJANGO_SETTINGS_MODULE": "clinic.config.settings_test"}
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={**os.environ, **settings},
        capture_output=True,
        text=True,
        check=True,
    )
    return set(json.loads(done.stdout.splitlines()[-1]))


def imported_late():
    """(file and line, module) of each import that stands in a function and may run in a request."""
    for folder in ("clinic", "offload"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            if {"migrations", "management", "demo", "config"} & set(path.parts) or path.name == "apps.py":
                continue
            for function in ast.walk(ast.parse(path.read_text())):
                if not isinstance(function, ast.FunctionDef):
                    continue
                for node in ast.walk(function):
                    names = [node.module] if isinstance(node, ast.ImportFrom) and node.module else []
                    names += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
                    yield from ((f"{path.relative_to(ROOT)}:{node.lineno}", name) for name in names)


@pytest.fixture(scope="module")
def served():
    return modules_after("import clinic.config.wsgi")


def test_whatever_a_request_may_import_has_been_imported_by_the_server(served):
    late = list(imported_late())
    assert any(name.startswith("clinic.charts.") for _, name in late)
    assert [(where, name) for where, name in late if name not in served] == []
    assert served >= HEAVY | {"clinic.urls", "matplotlib.backends.backend_svg", "matplotlib.font_manager"}


def test_a_management_command_starts_without_it():
    started = modules_after("import django\ndjango.setup()")
    assert started & (HEAVY | {"clinic.urls", "scipy", "numpy"}) == set()
