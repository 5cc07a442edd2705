"""One table of device classes: everything decided by class derives from it, and nothing else names a
class by hand.
"""

import ast
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from clinic.audit.forms.audit import AuditForm
from clinic.audit.forms.saved_reports import SavedReportForm
from clinic.devices.prints.handout import plain_name
from clinic.devices.prints.sentences import WEAR
from clinic.guidelines.devices import DEVICES, NON_REMOVABLE, WITH_INSOLE
from clinic.guidelines.edition import current
from clinic.guidelines.fitting import FITTING_LISTS, fitting_list
from clinic.models import SEALED, Prescription

ROOT = Path(__file__).parents[2]
#: The table itself; the rules, which are written in class ids and checked against it; and what was migrated
#: once.
TABLE = {"clinic/guidelines/devices.py"}
#: Where program code names a class by hand, and why that is no second copy of what the table decides.
NAMED = {
    ("clinic/guidelines/cautions.py", "total_contact_cast"): "how often a cast leaves an ulcer",
    (
        "clinic/guidelines/cautions.py",
        "felted_foam_with_footwear",
    ): "felt flattens; felt and who does not walk",
    ("clinic/guidelines/cautions.py", "toe_spacer"): "skin between the toes",
    ("clinic/guidelines/cautions.py", "heel_float_in_bed_and_chair"): "it does nothing while walking",
    ("clinic/demo/past.py", "walker_knee_high_removable"): "the invented past departs from the advice",
    ("clinic/demo/past.py", "ankle_high_removable"): "the invented past departs from the advice",
}
WORDS = {text for d in DEVICES.values() for text in (d.label, d.plain_label)}


def texts_in(source: str) -> set[str]:
    """Every string a piece of program code holds."""
    return {
        node.value
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }


def program() -> list[tuple[str, Path]]:
    found = [path for top in ("clinic", "offload") for path in sorted((ROOT / top).rglob("*.py"))]
    named = [(path.relative_to(ROOT).as_posix(), path) for path in found]
    return [(name, path) for name, path in named if name not in TABLE and "/migrations/" not in name]


def test_program_code_names_a_class_by_hand_only_where_a_reason_stands():
    found = {
        (name, text) for name, path in program() for text in texts_in(path.read_text()) if text in DEVICES
    }
    assert found == set(NAMED)


def test_program_code_words_no_class_by_hand():
    found = [(name, text) for name, path in program() for text in texts_in(path.read_text()) if text in WORDS]
    assert found == []


def test_templates_and_scripts_name_no_class_by_hand():
    pages = [
        p for top in ("templates", "static") for p in (ROOT / top).rglob("*") if p.suffix in (".html", ".js")
    ]
    assert len(pages) > 100
    told = re.compile("|".join(re.escape(text) for text in (*DEVICES, *WORDS)), re.IGNORECASE)
    assert [(p.name, found) for p in pages if (found := told.findall(p.read_text()))] == []


def test_ids_and_labels_are_each_one_classs_own():
    rows = DEVICES.values()
    assert all(name == device.id for name, device in DEVICES.items())
    for part in ("label", "short_label", "plain_label"):
        assert len({getattr(device, part) for device in rows}) == len(rows)


@pytest.mark.parametrize("device", DEVICES.values(), ids=lambda device: device.id)
def test_each_place_derives_from_the_row(device):
    row = Prescription(device_class=device.id)
    assert row.is_non_removable is device.stays_on is (device.id in NON_REMOVABLE)
    assert row.takes_insole is device.takes_insole is (device.id in WITH_INSOLE)
    assert row.get_device_class_display() == device.label
    assert str(plain_name(device.id)) == device.plain_label
    assert device.wear in WEAR
    assert fitting_list(device.id) is FITTING_LISTS[device.fitting]
    # What is sealed is gone through, and told of, as sealed.
    assert device.stays_on is (device.fitting == "stays_on") is (device.wear == "stays_on")


def test_lists_of_choices_and_the_database_are_the_tables():
    pairs = [(d.id, d.label) for d in DEVICES.values()]
    assert list(Prescription._meta.get_field("device_class").choices) == pairs
    assert AuditForm(prescribers=[]).fields["device_class"].choices == [("", "All"), *pairs]
    assert SavedReportForm().fields["device_class"].choices == [("", "All"), *pairs]
    sealed = dict(child for child in SEALED.children)
    assert set(sealed["device_class__in"]) == NON_REMOVABLE
    held = {c.name: repr(c.condition) for c in Prescription._meta.constraints}
    for name in DEVICES:
        assert f"'{name}'" in held["prescription_class"]
        assert (f"'{name}'" in held["prescription_sealed"]) is (name in NON_REMOVABLE)


def test_every_list_of_steps_and_every_wear_advice_belongs_to_a_class():
    assert {d.fitting for d in DEVICES.values()} == set(FITTING_LISTS)
    assert {d.wear for d in DEVICES.values()} == set(WEAR)


def test_every_class_is_offered_by_some_row():
    offered = {name for row in current().rows if row.kind in ("offer", "adjunct") for name in row.classes}
    assert offered == set(DEVICES)


INVENTED = """
import dataclasses, json, os
import clinic.guidelines.devices as devices
devices.DEVICES["invented"] = dataclasses.replace(
    devices.DEVICES["walker_non_removable"],
    id="invented", label="Invented", short_label="Short", plain_label="a thing",
)
devices.NON_REMOVABLE = frozenset(devices.classes_where(lambda d: d.stays_on))
devices.WITH_INSOLE = frozenset(devices.classes_where(lambda d: d.takes_insole))
import django
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.config.settings")
django.setup()
from clinic.audit.forms.audit import AuditForm
from clinic.audit.forms.saved_reports import SavedReportForm
from clinic.guidelines.cautions import CAUTIONS
from clinic.guidelines.fitting import fitting_list
from clinic.models import SEALED, Prescription
from clinic.devices.prints.handout import plain_name
from clinic.audit.reads.figures import class_words, spec_of
from clinic.audit.reads.outcomes import _ON_CHARTS
row = Prescription(device_class="invented")
print(json.dumps({
    "stays on": row.is_non_removable,
    "takes an insole": row.takes_insole,
    "sealing clock": "invented" in str(SEALED),
    "constraints": sum("invented" in repr(c) for c in Prescription._meta.constraints),
    "record": row.get_device_class_display(),
    "audit form": dict(AuditForm(prescribers=[]).fields["device_class"].choices)["invented"],
    "report form": dict(SavedReportForm().fields["device_class"].choices)["invented"],
    "audit page": class_words("invented"),
    "chart": _ON_CHARTS["Invented"],
    "sheet": str(plain_name("invented")),
    "fitting": fitting_list("invented").id,
    "cautions": [
        c.id for c in CAUTIONS if ("invented" in c.classes) is not ("walker_non_removable" in c.classes)
    ],
}))
"""


def test_a_class_put_into_the_table_alone_is_known_everywhere():
    ran = subprocess.run(
        [sys.executable, "-c", INVENTED], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert json.loads(ran.stdout) == {
        "stays on": True,
        "takes an insole": True,
        "sealing clock": True,
        "constraints": 2,
        "record": "Invented",
        "audit form": "Invented",
        "report form": "Invented",
        "audit page": "Invented",
        "chart": "Short",
        "sheet": "a thing",
        "fitting": "stays_on",
        "cautions": [],
    }
