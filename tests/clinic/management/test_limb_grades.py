"""The ``limb_grades`` command: its contract, its faults, and states through it."""

import io
import json
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command

from clinic.guidelines.standing_json import INFECTION, NUMBERS, PERFUSION

ROOT = Path(__file__).resolve().parents[3]
TODAY = "2026-05-01"
EMPTY = {"today": TODAY, "perfusion": [], "infection": []}
WELL = {
    "today": TODAY,
    "perfusion": [{"on": TODAY, "toe_pressure_mmhg": 65}],
    "infection": [{"on": TODAY, "signs": [], "looked": True, "deep": False, "bone": "no", "unwell": False}],
}


@pytest.fixture
def grade(tmp_path):
    """Standard output, standard error and exit status of the command in this process."""

    def call(findings):
        path = tmp_path / "findings.json"
        path.write_text(findings if isinstance(findings, str) else json.dumps(findings), encoding="utf-8")
        out, err = io.StringIO(), io.StringIO()
        status = 0
        try:
            call_command("limb_grades", str(path), stdout=out, stderr=err)
        except SystemExit as stop:
            status = stop.code
        return out.getvalue(), err.getvalue(), status

    return call


def test_the_answer_has_the_shape_of_the_contract(grade):
    out, err, status = grade(WELL)
    assert (err, status) == ("", 0)
    state = json.loads(out)
    assert list(state) == ["ischaemia", "infection", "non_removable_allowed", "refer", "notice"]
    assert list(state["ischaemia"]) == ["grade", "settled", "from", "on", "urgent", "because"]
    assert list(state["infection"]) == ["grade", "bone", "on", "standing", "urgent", "because"]
    assert state["non_removable_allowed"] is True
    assert state["ischaemia"]["from"] == "toe_pressure_mmhg"
    assert state["infection"]["on"] == TODAY


def test_nothing_found_is_nothing_known(grade):
    state = json.loads(grade(EMPTY)[0])
    assert (state["ischaemia"]["grade"], state["ischaemia"]["settled"]) == (None, False)
    assert (state["infection"]["grade"], state["infection"]["bone"]) == (None, None)
    assert state["non_removable_allowed"] is False


def test_null_is_absent_for_every_optional_field(grade):
    nulls = {
        **EMPTY,
        "revascularised_on": None,
        "perfusion": [{**dict.fromkeys(PERFUSION), "on": TODAY}],
        "infection": [{**dict.fromkeys(INFECTION), "on": TODAY}],
    }
    assert json.loads(grade(nulls)[0]) == json.loads(grade(EMPTY)[0])


def finding(kind, **values):
    return {**EMPTY, kind: [{"on": TODAY, **values}]}


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ({**EMPTY, "today": None}, "today is None, must be a date"),
        ({"perfusion": [], "infection": []}, "today is None, must be a date"),
        ({**EMPTY, "today": "2026-13-01"}, "today is '2026-13-01', must be a date"),
        ({**EMPTY, "today": 20260501}, "today is 20260501"),
        ({"today": TODAY, "infection": []}, "perfusion is None, must be a list"),
        ({**EMPTY, "infection": {}}, "infection is {}, must be a list"),
        ({**EMPTY, "name": "x"}, "name is no field of the contract"),
        ({**EMPTY, "perfusion": [3]}, "perfusion[0] is 3, must be one object"),
        ({**EMPTY, "perfusion": [{}]}, "perfusion[0].on is None, must be a date"),
        ({**EMPTY, "revascularised_on": ["2026-05-02"]}, "must not lie after today, 2026-05-01"),
        ({**EMPTY, "perfusion": [{"on": "2026-05-02"}]}, "perfusion[0].on is 2026-05-02"),
        (
            finding("perfusion", toe_pressure_mmhg=-1),
            "perfusion[0].toe_pressure_mmhg is -1, must be a number from 0",
        ),
        (finding("perfusion", toe_pressure_mmhg="22"), "toe_pressure_mmhg is '22'"),
        (finding("perfusion", toe_pressure_mmhg=True), "toe_pressure_mmhg is True"),
        (finding("perfusion", pulses="two"), "pulses is 'two', must be one of both, one, none"),
        (finding("perfusion", newly_cold="yes"), "newly_cold is 'yes', must be true or false"),
        (finding("perfusion", gangrene=True), "perfusion[0].gangrene is no field of the contract"),
        (finding("infection", signs="pus"), "signs is 'pus', must be a list"),
        (finding("infection", signs=["smell"]), "signs names 'smell'"),
        (finding("infection", signs=[["pus"]]), "signs names ['pus']"),
        (
            finding("infection", bone="maybe"),
            "bone is 'maybe', must be one of no, possible, probable, proven",
        ),
        (finding("infection", by="nurse"), "by is 'nurse'"),
        (finding("infection", white_cells_10e9_per_l=501), "white_cells_10e9_per_l is 501"),
        (finding("infection", temperature_c=float("nan")), "temperature_c is nan"),
        (finding("infection", redness_mm=float("inf")), "redness_mm is inf"),
        ("[]", "must be one JSON object"),
        ('{"today": ', "findings.json is not JSON"),
        ('{"today": "2026-05-01", "today": "2026-05-02"}', "is given twice"),
        (
            {**EMPTY, "infection": [{"on": TODAY}] * 5001},
            "infection holds 5001 entries, must be at most 5000",
        ),
    ],
)
def test_a_fault_is_one_line_that_names_field_value_and_limit(content, words, grade):
    out, err, status = grade(content)
    assert (out, status) == ("", 2)
    assert words in err


@pytest.mark.parametrize("name", NUMBERS)
def test_every_number_is_refused_on_the_far_side_of_each_bound(name, grade):
    low, high, _ = NUMBERS[name]
    kind = "perfusion" if name in PERFUSION else "infection"
    for value, status in ((low, 0), (high, 0), (low - 1, 2), (high + 1, 2)):
        assert grade(finding(kind, **{name: value}))[2] == status


def test_every_fault_has_its_own_line(grade):
    many = {
        **EMPTY,
        "today": "x",
        "perfusion": [{"on": "y", "pulses": 3}],
        "infection": [{"deep": 1}],
        "z": 0,
    }
    out, err, status = grade(many)
    assert (out, status) == ("", 2)
    assert len(err.splitlines()) == 6


def test_it_runs_as_a_program_without_a_database(tmp_path):
    path = tmp_path / "findings.json"
    path.write_text(json.dumps(WELL), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "manage.py", "limb_grades", str(path)],
        cwd=ROOT,
        env={"PATH": "", "DATABASE_URL": "postgres://nobody@127.0.0.1:1/none", "VAR_DIR": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["non_removable_allowed"] is True
