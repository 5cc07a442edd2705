"""The rooms, their order and their arrows, checked; and pure packages that import with Django blocked."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PURE = ["clinic.guidelines", "clinic.healing", "clinic.charts", "clinic.lifecycle", "offload.core"]
#: In the order of the work: a room imports only rooms that stand before it. This list is the one source of
#: the order.
ROOMS = [
    "record",
    "rules",
    "people",
    "capture",
    "curves",
    "evidence",
    "alerts",
    "lesions",
    "relief",
    "devices",
    "visits",
    "case",
    "week",
    "accounts",
    "audit",
]
#: Nothing imports these but the composition root, the commands and the demonstration.
COMPOSING = {"case", "week", "accounts", "audit"}
#: Inside a room a module imports only layers that stand before its own.
LAYERS = ["reads", "prints", "writes", "forms", "views", "urls"]
#: The relief core's folders, in their order.
CORE = ["shapes", "foam", "pressure", "plan", "sheets"]
#: The composition root may import any room.
ROOT_MODULES = {"clinic.urls", "clinic.middleware", "clinic.access", "clinic.apps"}
MOST_LINES = 400
MOST_COLUMNS = 110
MOST_TEMPLATE_COLUMNS = 160


def module_files(package):
    return sorted(
        path for path in ROOT.joinpath(*package.split(".")).rglob("*.py") if "migrations" not in path.parts
    )


def name_of(path):
    name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
    return name.removesuffix(".__init__")


def imported_names(path):
    """Every dotted name that a module imports, relative ones resolved, with the line."""
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


def place(name, head, order):
    """Where a dotted name stands in an order of folders under a package; None outside of them."""
    parts = name.removeprefix(f"{head}.").split(".")
    return order.index(parts[0]) if inside(name, head) and parts[0] in order else None


def wrong_imports(packages, is_wrong):
    return [
        f"{path.relative_to(ROOT)}:{line} imports {name}"
        for package in packages
        for path in module_files(package)
        for line, name in imported_names(path)
        if is_wrong(name_of(path), name)
    ]


def test_every_folder_is_a_room_or_named():
    pure = {name.removeprefix("clinic.") for name in PURE if name.startswith("clinic.")}
    others = pure | {"config", "demo", "management", "migrations", "models", "templatetags"}
    folders = {
        path.name for path in (ROOT / "clinic").iterdir() if path.is_dir() and path.name != "__pycache__"
    }
    assert folders == others | set(ROOMS)


def test_a_room_imports_only_rooms_that_stand_before_it():
    def backwards(module, name):
        here, there = place(module, "clinic", ROOMS), place(name, "clinic", ROOMS)
        return here is not None and there is not None and there > here

    assert not wrong_imports(["clinic"], backwards)


def test_what_composes_is_imported_by_no_other_room_but_a_later_one_that_composes_too():
    def wrong(module, name):
        here, there = place(module, "clinic", ROOMS), place(name, "clinic", ROOMS)
        composes = there is not None and ROOMS[there] in COMPOSING
        return composes and here is not None and here != there and ROOMS[here] not in COMPOSING

    assert not wrong_imports(["clinic"], wrong)


def test_inside_a_room_layers_import_downwards_only():
    def upwards(module, name):
        mine, other = module.split("."), name.split(".")
        if place(module, "clinic", ROOMS) is None or mine[:2] != other[:2] or len(mine) < 3 or len(other) < 3:
            return False
        if mine[2] not in LAYERS or other[2] not in LAYERS:
            return False
        return LAYERS.index(other[2]) > LAYERS.index(mine[2])

    assert not wrong_imports(["clinic"], upwards)


def test_reads_write_nothing_and_import_no_room_of_writes():
    def writes(module, name):
        mine, other = module.split("."), name.split(".")
        return (
            place(module, "clinic", ROOMS) is not None
            and len(mine) > 2
            and mine[2] == "reads"
            and place(name, "clinic", ROOMS) is not None
            and len(other) > 2
            and other[2] in ("writes", "forms", "views", "urls")
        )

    assert not wrong_imports(["clinic"], writes)


#: What makes a page, a picture or a file; numbers and words of `clinic.charts.agreement` are points only.
RENDERING = [
    "django.http",
    "django.shortcuts",
    "django.template",
    "django.utils.html",
    "django.utils.safestring",
    "matplotlib",
    "offload.core.sheets.writers",
    "offload.pictures",
    "reportlab",
]


def test_reads_render_nothing():
    def renders(module, name):
        parts = module.split(".")
        return (
            place(module, "clinic", ROOMS) is not None
            and len(parts) > 2
            and parts[2] == "reads"
            and (any(inside(name, one) for one in RENDERING) or name.endswith(("_svg", "_pdf")))
        )

    assert not wrong_imports(["clinic"], renders)


@pytest.mark.parametrize("package", PURE)
def test_pure_packages_import_nothing_above_them(package):
    # The stages of a plan are the relief program's own.
    others = {"clinic.charts": ["clinic.healing"], "clinic.lifecycle": ["offload.core.plan.stages"]}
    allowed = others.get(package, [])

    def above(module, name):
        ours = inside(name, package) or any(inside(name, one) for one in allowed)
        return not ours and any(inside(name, top) for top in ("django", "clinic", "offload"))

    assert module_files(package)
    assert not wrong_imports([package], above)


def test_models_import_no_room_and_offload_never_imports_the_clinic():
    def room(module, name):
        return (
            place(name, "clinic", ROOMS) is not None
            or inside(name, "clinic.access")
            or inside(name, "offload")
        )

    assert not wrong_imports(["clinic.models"], room)
    assert not wrong_imports(["offload"], lambda module, name: inside(name, "clinic"))


def test_the_core_imports_only_folders_that_stand_before():
    def backwards(module, name):
        here, there = place(module, "offload.core", CORE), place(name, "offload.core", CORE)
        return here is not None and there is not None and there > here

    assert not wrong_imports(["offload.core"], backwards)


def test_only_urls_import_views():
    def wrong(module, name):
        return (
            ".views" in name
            and inside(name, "clinic")
            and not (module.endswith(".urls") or ".views" in module)
        )

    assert not wrong_imports(["clinic"], wrong)


def test_only_capture_measures_wounds_and_only_relief_outlines_cuts():
    users = {
        name_of(path)
        for path in module_files("clinic")
        for _, name in imported_names(path)
        if inside(name, "offload.core.shapes.outline")
    }
    assert users
    assert all(inside(user, "clinic.capture") or inside(user, "clinic.relief") for user in users), users


@pytest.mark.parametrize("package", PURE)
def test_a_pure_package_imports_without_django(package):
    names = [name_of(path) for path in module_files(package)]
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
    for room in ROOMS:
        for path in module_files(f"clinic.{room}"):
            for node in ast.walk(ast.parse(path.read_text())):
                if (
                    isinstance(node, ast.Call)
                    and isinstance(node.func, ast.Attribute)
                    and node.func.attr in calls
                    and "objects" in ast.unparse(node.func)
                ):
                    wrong.append(f"{path.relative_to(ROOT)}:{node.lineno} {ast.unparse(node.func)}")
    assert not wrong, "\n".join(wrong)


def ours():
    return [path for package in ("clinic", "offload", "tests") for path in module_files(package)]


def test_no_module_is_over_400_lines():
    long = [
        f"{path.relative_to(ROOT)}: {count}"
        for path in ours()
        if (count := len(path.read_text().splitlines())) > MOST_LINES
    ]
    assert not long, "\n".join(long)


def test_no_line_is_too_long_and_none_is_kept_from_the_formatter():
    wrong = []
    for path in ours():
        for number, line in enumerate(path.read_text().splitlines(), start=1):
            if len(line) > MOST_COLUMNS or re.search(r"# fmt: ?(skip|off)$", line):
                wrong.append(f"{path.relative_to(ROOT)}:{number}")
    assert not wrong, "\n".join(wrong)


def test_templates_and_style_sheets_have_lines_that_can_be_read():
    pages = [
        *(ROOT / "templates").rglob("*.html"),
        *(ROOT / "static").rglob("*.css"),
        *(ROOT / "static").rglob("*.js"),
    ]
    wrong = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in pages
        for number, line in enumerate(path.read_text().splitlines(), start=1)
        if len(line) > MOST_TEMPLATE_COLUMNS
    ]
    assert pages
    assert not wrong, "\n".join(wrong)


#: Identifiers that were retired for the trade's and the engineer's words.
RETIRED = {
    "Asked",
    "Blank",
    "Filling",
    "Kept",
    "Pace",
    "Said",
    "Statement",
    "Told",
    "asked",
    "pace",
    "said",
    "selectors",
    "service",
    "services",
    "told",
}
#: Where such a word still is the plain one: file -> words, with the reason.
STILL = {
    # The text of a caution or a rule as the answer gives it; a public name of the pure package.
    "clinic/guidelines/cautions.py": {"said"},
    "clinic/guidelines/rows.py": {"said"},
    "clinic/guidelines/table.py": {"said"},
    # A forecast said at the time, held against what came.
    **dict.fromkeys(("clinic/healing/lookback.py", "clinic/healing/own.py"), {"said"}),
    "clinic/guidelines/infection_look.py": {"said"},
    "clinic/guidelines/perfusion_record.py": {"said"},
    "clinic/guidelines/standing_infection.py": {"said"},
    "clinic/guidelines/standing_perfusion.py": {"said", "told"},
    "clinic/guidelines/standing.py": {"asked"},  # what is asked of a look
    "clinic/guidelines/standing_state.py": {"asked"},
    "clinic/healing/closing.py": {"pace"},  # of a wound's margin, in mm a week: the trade's word
    "clinic/healing/forecast.py": {"pace"},
    "clinic/healing/halting.py": {"pace"},
    "clinic/charts/reliability.py": {"said"},
    "clinic/healing/fared.py": {"said"},
    "clinic/healing/recalibration.py": {"asked", "said", "told"},
    # What was asked once per person, beside what was only ticked now.
    "clinic/evidence/reads/facts.py": {"asked"},
    # The cut, the margin and the compression asked of the foam.
    "offload/core/foam/law.py": {"asked"},
    "offload/core/plan/openings.py": {"asked"},
    "offload/core/pressure/foundation.py": {"told"},  # a line search is told the slope at its step
    "offload/core/pressure/line_search.py": {"told"},
}


def program_files():
    return [path for package in ("clinic", "offload") for path in module_files(package)]


def identifiers(path):
    for node in ast.walk(ast.parse(path.read_text())):
        for part in ("id", "arg", "name", "attr"):
            if isinstance(word := getattr(node, part, None), str):
                yield word


def test_retired_words_name_nothing():
    found = {
        path.relative_to(ROOT).as_posix(): words
        for path in program_files()
        if (words := RETIRED & set(identifiers(path)))
    }
    beyond = {file: words - STILL.get(file, set()) for file, words in found.items()}
    assert not {file: words for file, words in beyond.items() if words}


def test_no_module_speaks_of_layers_that_are_gone():
    old = re.compile(r"\b(selectors?|services?)\.\w+|\bclinic/(services|selectors|forms|views)/")
    wrong = [
        f"{path.relative_to(ROOT)}:{number} {line.strip()}"
        for path in program_files()
        for number, line in enumerate(path.read_text().splitlines(), start=1)
        if old.search(line)
    ]
    assert not wrong, "\n".join(wrong)


#: Class names that stand twice, and why neither is the other.
TWINS = {
    "Agreement": "of two readers' areas; of a choice with the guidance",
    "Looked": "a forecast looked back at; a choice of the visit's form",
    "RedFlag": "a rule of the guidance; the row raised by it",
    "Referral": "what the guidance asks for; the row of one that was made",
    "Span": "what an interval covers; bounds of a number in a plan",
    "TableError": "each pure package has its own errors",
}


def test_no_class_name_stands_twice():
    places = {}
    for path in program_files():
        for node in ast.parse(path.read_text()).body:
            # Django finds every command by the name Command.
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_") and node.name != "Command":
                places.setdefault(node.name, []).append(path.relative_to(ROOT).as_posix())
    twice = {name: found for name, found in places.items() if len(found) > 1}
    assert {name: found for name, found in twice.items() if name not in TWINS} == {}
    assert all(len(found) == 2 for found in twice.values())
