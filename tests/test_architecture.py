"""The import arrows of DEVELOPERS.md, checked; and pure packages that import with Django blocked."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PURE = ["clinic.guidelines", "clinic.healing", "clinic.charts", "offload.core"]
# Layer -> what it must never import; a layer may always import itself.
FORBIDDEN = {
    "clinic.guidelines": {"django", "clinic", "offload"},
    "clinic.healing": {"django", "clinic", "offload"},
    "clinic.charts": {"django", "clinic", "offload"},
    "offload.core": {"django", "clinic", "offload"},
    "offload": {"clinic"},
    "clinic.models": {
        "clinic.services", "clinic.selectors", "clinic.views", "clinic.forms", "clinic.access", "offload",
    },
    "clinic.selectors": {"clinic.services", "clinic.views", "clinic.forms"},
    "clinic.services": {"clinic.views", "clinic.forms", "clinic.selectors"},
    "clinic.forms": {"clinic.views"},
}  # fmt: skip
# Exceptions to the table, each with its reason.
ALLOWED = {
    ("clinic.charts", "clinic.healing"),  # charts draw healing's values
    ("clinic.services", "clinic.selectors"),  # a service may read through a selector; never the reverse
}
ONLY_URLS_IMPORT_VIEWS = {"clinic/urls.py"}


def module_files(package):
    return sorted(ROOT.joinpath(*package.split(".")).rglob("*.py"))


def imported_names(path):
    package = path.relative_to(ROOT).parts[:-1]  # where relative imports start
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = list(package[: len(package) - node.level + 1]) if node.level else []
            base += node.module.split(".") if node.module else []
            yield from ((node.lineno, ".".join([*base, alias.name])) for alias in node.names)


def inside(name, package):
    return name == package or name.startswith(f"{package}.")


@pytest.mark.parametrize("layer", FORBIDDEN)
def test_imports_follow_the_arrows(layer):
    files = module_files(layer)
    assert files, f"{layer} has no modules: is the table out of date?"
    allowed = {target for source, target in ALLOWED if source == layer}
    wrong = [
        f"{path.relative_to(ROOT)}:{line} imports {name}"
        for path in files
        for line, name in imported_names(path)
        if not inside(name, layer)
        and not any(inside(name, target) for target in allowed)
        and any(inside(name, banned) for banned in FORBIDDEN[layer])
    ]
    assert not wrong, "\n".join(wrong)


def test_only_urls_import_views():
    wrong = [
        f"{path.relative_to(ROOT)}:{line} imports {name}"
        for package in ("clinic", "offload")
        for path in module_files(package)
        for line, name in imported_names(path)
        if inside(name, "clinic.views")
        and not path.is_relative_to(ROOT / "clinic" / "views")
        and str(path.relative_to(ROOT)) not in ONLY_URLS_IMPORT_VIEWS
    ]
    assert not wrong, "\n".join(wrong)


def test_only_measurement_traces_wounds_and_only_relief_outlines_cuts():
    users = {
        str(path.relative_to(ROOT))
        for path in module_files("clinic")
        for _, name in imported_names(path)
        if inside(name, "offload.core.shapes.outline")
    }
    relief = {"clinic/relief/writes/relief_record.py", "clinic/relief/views/relief.py"}
    assert users - relief <= {"clinic/capture/writes/measurement.py"}


@pytest.mark.parametrize("package", PURE)
def test_a_pure_package_imports_without_django(package):
    names = [".".join(p.relative_to(ROOT).with_suffix("").parts) for p in module_files(package)]
    code = "import sys; sys.modules['django'] = None\n" + "\n".join(f"import {name}" for name in names)
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("app", ["clinic", "offload"])
def test_an_app_package_stays_empty(app):
    # Anything in it would be imported with every pure package below it.
    assert (ROOT / app / "__init__.py").read_text() == ""


def test_clinical_rows_are_not_written_past_their_history():
    # These ways of writing skip the history copies and the version check.
    calls = {"update", "bulk_create", "bulk_update", "delete"}
    wrong = []
    for folder in ("services", "views", "selectors"):
        for path in module_files(f"clinic.{folder}"):
            for node in ast.walk(ast.parse(path.read_text())):
                if (
                    isinstance(node, ast.Call)
                    and isinstance(node.func, ast.Attribute)
                    and node.func.attr in calls
                    and "objects" in ast.unparse(node.func)
                ):
                    wrong.append(f"{path.relative_to(ROOT)}:{node.lineno} {ast.unparse(node.func)}")
    assert not wrong, "\n".join(wrong)


def test_no_module_is_over_400_lines():
    long = [
        f"{path.relative_to(ROOT)}: {count}"
        for package in ("clinic", "offload", "tests")
        for path in module_files(package)
        if "migrations" not in path.parts and (count := len(path.read_text().splitlines())) > 400
    ]
    assert not long, "\n".join(long)
