"""The command `relief_plan`: contract, refusals, files. No test here may touch the database."""

import io
import json
import math
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command

ROOT = Path(__file__).resolve().parents[3]
DISC = {"label": "A", "centre_mm": [0, 180], "length_mm": 20, "width_mm": 20}
SPEC = {"side": "left", "foot_length_mm": 260, "body_weight_kg": 82, "lesions": [DISC]}
COVER = {"role": "cover", "foam": "soft", "thickness_mm": 3}
BASE = {"role": "base", "foam": "firm", "thickness_mm": 6}
POLYGON = [
    [10 * math.cos(2 * math.pi * i / 64), 180 + 10 * math.sin(2 * math.pi * i / 64)] for i in range(64)
]


def run(path, out=None):
    """Exit code, standard output and standard error of the command."""
    stdout, stderr = io.StringIO(), io.StringIO()
    try:
        call_command("relief_plan", str(path), out=out, stdout=stdout, stderr=stderr)
    except SystemExit as stop:
        return stop.code, stdout.getvalue(), stderr.getvalue()
    return 0, stdout.getvalue(), stderr.getvalue()


@pytest.fixture
def plan_of(tmp_path):
    def plan(**changes):
        path = tmp_path / "spec.json"
        path.write_text(json.dumps({**SPEC, **changes}), encoding="utf-8")
        code, text, error = run(path)
        assert (code, error) == (0, "")
        return json.loads(text)

    return plan


@pytest.mark.parametrize(
    "lesion", [DISC, {"label": "A", "outline_mm": POLYGON}], ids=["ellipse", "polygon of 64"]
)
def test_a_round_lesion_gets_the_floor_and_opening_of_the_closed_formula(plan_of, lesion):
    plan = plan_of(lesions=[lesion])
    (opening,) = plan["openings"]
    assert plan["cut_layers"] == ["middle"]
    assert opening["labels"] == ["A"]
    assert not opening["open_to_edge"]
    assert opening["floor_area_mm2"] == pytest.approx(math.pi * 15**2 + 5 * 30, rel=0.005)
    assert opening["area_mm2"] == pytest.approx(math.pi * 21**2 + 5 * 42, rel=0.007)


@pytest.mark.parametrize(
    ("weight", "rigid", "cut"),
    [
        (82, False, ["middle"]),
        (90, False, ["base"]),
        (95, False, ["base"]),
        (82, True, ["middle", "base"]),
        (95, True, ["base"]),
    ],
)
def test_weight_and_rigidity_choose_the_layers(plan_of, weight, rigid, cut):
    plan = plan_of(body_weight_kg=weight, rigid_deformity=rigid)
    assert plan["cut_layers"] == cut
    assert [layer["role"] for layer in plan["openings"][0]["layers"]] == cut
    assert any("no layer below the base" in reason for reason in plan["reasons"]) is (weight == 95 and rigid)


def test_a_plan_whose_checks_fail_still_exits_with_zero(plan_of):
    plan = plan_of(margin_face="opening")
    failed = {check["id"] for check in plan["checks"] if not check["passed"]}
    assert "lesion_over_full_depth" in failed
    assert "opening_inside_insole" not in failed


def test_the_notice_says_that_it_supports_judgement(plan_of):
    notice = plan_of()["notice"]
    assert "Supports licensed judgement" in notice
    assert "skin inspection" in notice


BAD = {
    "a self-crossing outline": (
        {"lesions": [{"label": "A", "outline_mm": [[0, 180], [9, 189], [9, 180], [0, 189]]}]},
        r"lesions\[0\]\.outline_mm crosses .*\(4\.50, 184\.50\).* limit",
    ),
    "an outline of two points": (
        {"lesions": [{"label": "A", "outline_mm": [[0, 180], [9, 189]]}]},
        r"lesions\[0\]\.outline_mm has 2 points; the limit is 3 to 5000",
    ),
    "an outline without area": (
        {"lesions": [{"label": "A", "outline_mm": [[0, 180], [5, 185], [9, 189]]}]},
        r"lesions\[0\]\.outline_mm has an area of 0 mm²; the area must be above 0",
    ),
    "NaN as weight": ({"body_weight_kg": math.nan}, r"body_weight_kg is NaN; the limit is .*20 to 300 kg"),
    "NaN in an outline": (
        {"lesions": [{"label": "A", "outline_mm": [[0, 180], [math.nan, 189], [9, 180]]}]},
        r"lesions\[0\]\.outline_mm\[1\] is \[NaN, 189\]; the limit is two numbers",
    ),
    "Infinity as margin": ({"margin_mm": math.inf}, r"margin_mm is Infinity; the limit is .*0 to 30 mm"),
    "a negative weight": ({"body_weight_kg": -82}, r"body_weight_kg is -82; the limit is .*20 to 300 kg"),
    "a weight too large": ({"body_weight_kg": 301}, r"body_weight_kg is 301; the limit is .*20 to 300 kg"),
    "true as a number": ({"bevel_deg": True}, r"bevel_deg is true; the limit is .*20 to 90 degrees"),
    "a number in quotes": (
        {"foot_length_mm": "260"},
        r'foot_length_mm is "260"; the limit is .*120 to 350 mm',
    ),
    "a foot too short": ({"foot_length_mm": 119}, r"foot_length_mm is 119; the limit is .*120 to 350 mm"),
    "a flat bevel": ({"bevel_deg": 10}, r"bevel_deg is 10; the limit is .*20 to 90 degrees"),
    "a distal margin under the margin": (
        {"margin_mm": 8, "distal_margin_mm": 5},
        r"distal_margin_mm is 5; the limit is margin_mm \(8\) to 30 mm",
    ),
    "a lesion off the insole": (
        {"lesions": [{**DISC, "centre_mm": [70, 180]}]},
        r"lesions: ulcer A lies .*100 %\) off the insole; the limit is 0",
    ),
    "a lesion half off the insole": (
        {"lesions": [{**DISC, "centre_mm": [0, 2]}]},
        r"lesions: ulcer A lies .* off the insole; the limit is 0",
    ),
    "two lesions of one name": (
        {"lesions": [DISC, DISC]},
        r'lesions\[1\]\.label is "A"; the limit is a label',
    ),
    "a lesion wider than long": (
        {"lesions": [{**DISC, "width_mm": 21}]},
        r"lesions\[0\]\.width_mm is 21; the limit is 1 to length_mm \(20\)",
    ),
    "no lesion": ({"lesions": []}, r"lesions has 0 lesions; the limit is 1 to 12"),
    "an unknown foam": (
        {"stack": [{**COVER, "foam": "cork"}, BASE]},
        r'stack\[0\]\.foam is "cork"; the limit is one of soft, medium, firm',
    ),
    "a stack upside down": (
        {"stack": [BASE, COVER]},
        r"stack is base, cover; the limit is one cover first",
    ),
    "a cut in a layer that is not there": (
        {"stack": [COVER, BASE], "cut": "middle"},
        r'cut is "middle"; the limit is auto or base',
    ),
    "an unknown field": ({"shoe_size": 41}, r"shoe_size is an unknown field; the limit is side"),
    "an unknown side": ({"side": "both"}, r'side is "both"; the limit is one of left, right'),
    "null for a required field": ({"side": None}, r"side is null, and it is required; the limit is"),
    "a ragged pressure map": (
        {"pressure_map": {"cell_mm": [5, 5], "origin_mm": [0, 150], "kpa": [[1, 2], [3]]}},
        r"pressure_map\.kpa\[1\] is \[3\]; the limit is a list",
    ),
    "a floor that vanishes": (
        {"margin_face": "opening", "margin_mm": 0, "distal_margin_mm": 0, "bevel_deg": 20},
        r"margin_mm 0 with bevel_deg 20: the base of the opening .* vanishes in the middle layer"
        r".* the limit is one base of the opening",
    ),
}
BAD_FILES = {
    "broken JSON": (b'{"side": "left",', r"file is broken JSON at line 1 column \d+"),
    "a list": (b"[]", r"file is \[\]; the limit is one JSON object"),
    "an empty file": (b"", r"file is broken JSON at line 1 column 1"),
    "not text": (b"\x80\x81", r"file is not UTF-8 at byte 0; the limit is UTF-8 JSON"),
    "a huge file": (b" " * 2_000_001, r"SPEC\.json .* has 2000001 bytes; the limit is 2000000 bytes"),
}
CASES = [(name, json.dumps({**SPEC, **change}).encode(), words) for name, (change, words) in BAD.items()] + [
    (name, content, words) for name, (content, words) in BAD_FILES.items()
]


@pytest.mark.parametrize(("content", "words"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_bad_input_is_one_line_exit_two_and_nothing_written(tmp_path, content, words):
    path, out = tmp_path / "spec.json", tmp_path / "out"
    path.write_bytes(content)
    code, text, error = run(path, out)
    assert code == 2
    assert text == ""
    assert error.count("\n") == 1
    assert re.search(words, error), error
    assert not out.exists()


def test_several_faults_are_several_lines(tmp_path):
    path = tmp_path / "spec.json"
    path.write_text(
        json.dumps({**SPEC, "side": "up", "body_weight_kg": -1, "margin_mm": 99}), encoding="utf-8"
    )
    code, text, error = run(path)
    assert (code, text) == (2, "")
    assert [line.split(" ")[0] for line in error.splitlines()] == ["side", "body_weight_kg", "margin_mm"]


@pytest.mark.parametrize("path", ["missing.json", "."])
def test_a_file_that_cannot_be_read_is_refused(tmp_path, path):
    code, text, error = run(tmp_path / path)
    assert (code, text) == (2, "")
    assert "cannot be read" in error
    assert error.count("\n") == 1


def test_all_six_files_are_written_and_the_same_each_time(tmp_path):
    path = tmp_path / "spec.json"
    path.write_text(json.dumps(SPEC), encoding="utf-8")
    first, second = tmp_path / "one", tmp_path / "deep" / "two"
    code, text, error = run(path, first)
    assert (code, error) == (0, "")
    assert run(path, second)[0] == 0
    names = sorted(file.name for file in first.iterdir())
    assert names == [
        "plan.json",
        "template-a3.pdf",
        "template-a4.pdf",
        "template-letter.pdf",
        "template.dxf",
        "template.svg",
    ]
    assert json.loads((first / "plan.json").read_text(encoding="utf-8")) == json.loads(text)
    assert (first / "template-a4.pdf").read_bytes().startswith(b"%PDF")
    for name in names:
        assert (first / name).read_bytes() == (second / name).read_bytes(), name


def test_a_folder_that_cannot_be_written_is_refused(tmp_path):
    path, taken = tmp_path / "spec.json", tmp_path / "taken"
    path.write_text(json.dumps(SPEC), encoding="utf-8")
    taken.write_text("a file", encoding="utf-8")
    code, text, error = run(path, taken)
    assert (code, text) == (2, "")
    assert "--out" in error
    assert taken.read_text(encoding="utf-8") == "a file"


def test_without_out_no_drawing_library_is_loaded(tmp_path):
    path = tmp_path / "spec.json"
    path.write_text(json.dumps(SPEC), encoding="utf-8")
    code = (
        "import sys\n"
        "from django.core.management import execute_from_command_line as run\n"
        f"run(['manage.py', 'relief_plan', {str(path)!r}])\n"
        "print(sorted({'matplotlib', 'reportlab', 'ezdxf'} & set(sys.modules)), file=sys.stderr)\n"
    )
    environment = {**os.environ, "DJANGO_SETTINGS_MODULE": "clinic.config.settings_test"}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=environment, capture_output=True, text=True, check=True
    )
    assert done.stderr.strip() == "[]"
    assert json.loads(done.stdout)["cut_layers"] == ["middle"]
