import json
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command

ROOT = Path(__file__).resolve().parents[3]
HEAD = "lesion,date,area_cm2,method,state\n"
FORECAST_KEYS = {
    "closing_date_median",
    "closing_date_low",
    "closing_date_high",
    "chance_closed_12w",
    "chance_closed_20w",
    "chance_closed_next_8w",
}


@pytest.fixture
def report(capsys, tmp_path):
    def run(text):
        path = tmp_path / "series.csv"
        path.write_text(text)
        call_command("healing_report", str(path))
        return json.loads(capsys.readouterr().out)

    return run


def test_a_healing_wound_has_every_key_of_the_contract(report):
    answer = report(
        HEAD
        + "A,2026-01-05,4.0,traced,\nA,2026-01-12,3.2,,\nA,2026-01-19,2.4,,\n"
        + "A,2026-01-26,1.7,,\nA,2026-02-02,1.1,,\n"
    )
    assert len(answer) == 1
    lesion = answer[0]
    assert set(lesion) == {
        "lesion",
        "n",
        "reduction_percent_last",
        "reduction_percent_4w",
        "linear_advance_mm_per_week",
        "verdict",
        "reasons",
        "forecast",
    }
    assert (lesion["lesion"], lesion["n"], lesion["verdict"]) == ("A", 5, "on course")
    assert lesion["reduction_percent_4w"] == pytest.approx(72.5)
    assert set(lesion["forecast"]) == FORECAST_KEYS


def test_fewer_than_three_areas_and_a_closed_wound_have_no_forecast(report):
    answer = report(
        HEAD + "A,2026-01-05,4,,\nA,2026-01-12,3,,\nB,2026-01-05,1,,\nB,2026-01-12,1,,\nB,2026-01-19,0,,\n"
    )
    assert [lesion["forecast"] for lesion in answer] == [None, None]
    assert [lesion["verdict"] for lesion in answer] == ["too early", "closed, to confirm"]


def test_mixed_methods_report_the_last_run_and_say_so(report):
    answer = report(HEAD + "A,2026-01-05,4,ruler,\nA,2026-01-12,3,,\nA,2026-01-19,2.8,,\n")
    assert answer[0]["n"] == 2
    assert any("last unbroken run" in reason for reason in answer[0]["reasons"])


def test_one_area_alone_is_reported_without_figures_it_cannot_have(report):
    lesion = report(HEAD + "A,2026-01-05,4,,\n")[0]
    assert (lesion["reduction_percent_last"], lesion["linear_advance_mm_per_week"]) == (0.0, None)


def test_bad_input_is_one_line_per_fault_nothing_on_stdout_and_exit_2(capsys, tmp_path):
    path = tmp_path / "series.csv"
    path.write_text(HEAD + "A,2026-01-05,NaN,,\nA,2026-01-05,-4,,\n")
    with pytest.raises(SystemExit) as caught:
        call_command("healing_report", str(path))
    out, err = capsys.readouterr()
    assert caught.value.code == 2
    assert out == ""
    assert len(err.splitlines()) == 2


def test_a_missing_file_is_a_fault(capsys, tmp_path):
    with pytest.raises(SystemExit) as caught:
        call_command("healing_report", str(tmp_path / "none.csv"))
    assert caught.value.code == 2
    assert "none.csv cannot be read" in capsys.readouterr().err


def test_neither_command_imports_matplotlib():
    code = (
        "import sys\n"
        "import clinic.management.commands.healing_report\n"
        "import clinic.management.commands.survival_report\n"
        "print([name for name in sys.modules if name.split('.')[0] == 'matplotlib'])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
