"""The ``device_advice`` command: its contract, its faults, and the case table through it."""

import io
import json
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command

from clinic.guidelines.devices import DEVICES
from tests.clinic.guidelines.cases import CASES, PLAIN

ROOT = Path(__file__).resolve().parents[3]


def run(path):
    """Standard output, standard error and exit status of the command in this process."""
    out, err = io.StringIO(), io.StringIO()
    status = 0
    try:
        call_command("device_advice", str(path), stdout=out, stderr=err)
    except SystemExit as stop:
        status = stop.code
    return out.getvalue(), err.getvalue(), status


@pytest.fixture
def advise(tmp_path):
    def call(facts):
        path = tmp_path / "facts.json"
        path.write_text(facts if isinstance(facts, str) else json.dumps(facts), encoding="utf-8")
        return run(path)

    return call


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.topic}: {case.name}")
def test_a_case_passes_through_the_command(case, advise):
    out, err, status = advise(case.facts)
    assert (err, status) == ("", 0)
    advice = json.loads(out)
    assert [offer["id"] for offer in advice["classes"]] == case.classes
    assert {withheld["id"] for withheld in advice["withheld"]} == case.withheld
    assert {(referral["id"], referral["urgency"]) for referral in advice["refer"]} == case.refer
    assert set(advice["rules"]) == case.rules
    assert advice["missing"] == case.missing


def test_no_facts_at_all_answer_with_everything_missing(advise):
    out, _, status = advise("{}")
    advice = json.loads(out)
    assert status == 0
    assert [offer["id"] for offer in advice["classes"]] == ["rest_and_walking_aid"]
    assert advice["missing"] == list(PLAIN)
    assert {w["id"] for w in advice["withheld"]} == {"total_contact_cast", "walker_non_removable"}


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ('{"region": "ear"}', "region is 'ear', must be one of"),
        ('{"infection_grade": 0}', "infection_grade is 0, must lie from 1 to 4"),
        ('{"ischaemia_grade": 4}', "ischaemia_grade is 4, must lie from 0 to 3"),
        ('{"infection_grade": NaN}', "infection_grade is nan, must be a whole number"),
        ('{"infection_grade": 2.5}', "infection_grade is 2.5"),
        ('{"recent_surgery_weeks": Infinity}', "recent_surgery_weeks is inf"),
        ('{"osteomyelitis": "no"}', "osteomyelitis is 'no', must be true, false or null"),
        ('{"weight_kg": 80}', "'weight_kg' is no finding the rules know"),
        ('{"region": "forefoot", "region": "midfoot"}', "'region' is given twice"),
        ("[1, 2]", "must be one JSON object"),
        ("null", "must be one JSON object"),
        ('{"region": ', "is not JSON in UTF-8"),
        ("", "is not JSON in UTF-8"),
        ("[" * 100_000, "is not JSON in UTF-8"),
        ('{"infection_grade": ' + "9" * 5000 + "}", "facts.json is not JSON in UTF-8"),
        (" " * 2_000_001, "over 2000000 bytes"),
    ],
)
def test_a_fault_is_one_line_on_standard_error_and_status_two(content, words, advise):
    out, err, status = advise(content)
    assert (out, status) == ("", 2)
    assert err.count("\n") == 1
    assert words in err


def test_every_fault_has_its_own_line(advise):
    out, err, status = advise({"region": "ear", "infection_grade": 9, "colour\nof sock": "red"})
    assert (out, status) == ("", 2)
    assert len(err.splitlines()) == 3


def test_a_file_that_cannot_be_read_is_a_fault(tmp_path):
    for path in (tmp_path / "absent.json", tmp_path):
        out, err, status = run(path)
        assert (out, status) == ("", 2)
        assert "cannot be read" in err


def test_bytes_that_are_no_text_are_a_fault(tmp_path):
    path = tmp_path / "facts.json"
    path.write_bytes(b'{"region": "\xff"}')
    assert run(path)[2] == 2


def test_it_runs_as_a_program_without_a_database(tmp_path):
    path = tmp_path / "facts.json"
    path.write_text(json.dumps(PLAIN), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "manage.py", "device_advice", str(path)],
        cwd=ROOT,
        env={"PATH": "", "DATABASE_URL": "postgres://nobody@127.0.0.1:1/none", "VAR_DIR": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["classes"][0]["id"] in DEVICES
