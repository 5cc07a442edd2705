"""The project's own files keep their promises: locks without hosts, one reason a dependency, safe
settings.
"""

import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
TESTS = [path for path in (ROOT / "tests").rglob("*.py") if path != Path(__file__).resolve()]


@pytest.mark.parametrize("name", ["base", "test", "dev", "oracle", "django6"])
def test_a_lock_pins_with_hashes_and_names_no_host(name):
    text = (ROOT / "requirements" / f"{name}.txt").read_text()
    assert "://" not in text
    pins = re.findall(r"^[a-z0-9][\w.-]*(?:\[.*?\])?==", text, flags=re.MULTILINE)
    assert pins
    assert text.count("--hash=sha256:") >= len(pins)


def test_the_rehearsal_differs_from_the_tested_lock_by_django_alone():
    pins = {}
    for name in ("test", "django6"):
        text = (ROOT / "requirements" / f"{name}.txt").read_text()
        pins[name] = dict(re.findall(r"^([a-z0-9][\w.-]*(?:\[.*?\])?)==([\w.]+)", text, flags=re.MULTILINE))
    assert pins["test"].keys() == pins["django6"].keys()
    differing = {name for name, version in pins["test"].items() if pins["django6"][name] != version}
    assert differing == {"django"}
    assert [pins[name]["django"].split(".")[0] for name in pins] == ["5", "6"]


def test_dependencies_stand_equal_in_both_lists_each_with_its_reason():
    text = (ROOT / "pyproject.toml").read_text()
    declared = set(tomllib.loads(text)["project"]["dependencies"])
    lines = (ROOT / "requirements" / "base.in").read_text().splitlines()
    assert declared == {line for line in lines if line and not line.startswith("#")}
    for dependency in declared:
        assert re.search(re.escape(f'"{dependency}",') + r"\s+# \w+", text), (
            f"{dependency} has no reason beside it"
        )


def run_check(**environment):
    clean = {
        k: v
        for k, v in os.environ.items()
        if k not in {"DJANGO_SETTINGS_MODULE", "SECRET_KEY", "ALLOWED_HOSTS", "DJANGO_ALLOW_ASYNC_UNSAFE"}
    }
    return subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT,
        env={**clean, "PRODUCTION": "1", **environment},
        capture_output=True,
        text=True,
    )


LONG_KEY = "0123456789-abcdefghijklmnopqrstuvwxyz-ABCDEFGHIJKLMNOPQ"


@pytest.mark.parametrize(
    ("environment", "named"),
    [
        ({"ALLOWED_HOSTS": "clinic.example.org"}, "SECRET_KEY"),
        ({"SECRET_KEY": "short", "ALLOWED_HOSTS": "clinic.example.org"}, "SECRET_KEY"),
        ({"SECRET_KEY": LONG_KEY}, "ALLOWED_HOSTS"),
        ({"SECRET_KEY": LONG_KEY, "ALLOWED_HOSTS": "*"}, "ALLOWED_HOSTS"),
        ({"SECRET_KEY": LONG_KEY, "ALLOWED_HOSTS": "clinic.example.org", "DEBUG": "1"}, "DEBUG"),
    ],
)
def test_production_refuses_to_start_half_configured(environment, named):
    done = run_check(**environment)
    assert done.returncode != 0
    assert named in done.stderr


def test_production_settings_pass_the_deployment_check():
    done = run_check(SECRET_KEY=LONG_KEY, ALLOWED_HOSTS="clinic.example.org")
    assert done.returncode == 0, done.stderr


def test_every_law_runs_under_the_one_profile():
    from hypothesis import HealthCheck, settings

    assert settings().deadline is None
    assert HealthCheck.too_slow in settings().suppress_health_check
    own = re.compile(r"\bdeadline=|\bHealthCheck\b|_profile\(")
    # The long run of the cases is a command: no profile stands where it begins.
    tests = [path for path in TESTS if path.name != "long_run.py"]
    assert [path.name for path in tests if own.search(path.read_text())] == ["conftest.py"]


def test_no_journey_waits_for_a_time():
    # The pictures of the README wait for a server of their own, which they ask again and again.
    journeys = [path for path in TESTS if path.parent.name == "journeys" and path.name != "screenshots.py"]
    assert journeys
    assert not [path.name for path in journeys if re.search(r"wait_for_timeout|sleep\(", path.read_text())]
