import json
from pathlib import Path

import pytest
from django.core.management import call_command

DATA = Path(__file__).parents[1] / "healing" / "data" / "leukemia_freireich.csv"


def run(capsys, path):
    call_command("survival_report", str(path))
    return json.loads(capsys.readouterr().out)


def test_the_published_data_give_the_published_figures(capsys):
    answer = run(capsys, DATA)
    groups = {group["group"]: group for group in answer["groups"]}
    assert groups["6MP"]["median"] == 23
    assert groups["placebo"]["median"] == 8
    assert {row[0]: row[3] for row in groups["6MP"]["curve"]}[6] == pytest.approx(0.857, abs=5e-4)
    assert answer["logrank"]["chi2"] == pytest.approx(16.79, abs=5e-3)
    assert answer["logrank"]["df"] == 1


def test_without_groups_there_is_one_curve_and_no_test(capsys, tmp_path):
    path = tmp_path / "e.csv"
    path.write_text("duration,event\n2,1\n2,1\n")
    assert run(capsys, path) == {
        "groups": [
            {"group": "all", "n": 2, "events": 2, "median": 2.0, "curve": [[2.0, 2, 2, 0.0, None, None]]}
        ],
        "logrank": None,
    }


def test_bad_input_is_one_line_on_stderr_nothing_on_stdout_and_exit_2(capsys, tmp_path):
    path = tmp_path / "e.csv"
    path.write_text("duration,event\n-2,1\n1,7\n")
    with pytest.raises(SystemExit) as caught:
        call_command("survival_report", str(path))
    out, err = capsys.readouterr()
    assert caught.value.code == 2
    assert out == ""
    assert err.splitlines() == [
        "row 2: duration '-2' is not from 0 to 1e+06",
        "row 3: event '7' is neither 0 (censored) nor 1 (healed)",
    ]
