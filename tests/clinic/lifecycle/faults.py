"""`python -m tests.clinic.lifecycle.faults [sequences] [seed] [name]`: rules of the product broken on
purpose, each in a copy of its own, and after how many sequences the machine says so. It prints a line a
fault and answers 1 where one was not found.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
#: Name -> file, what stands there, what is put in its stead.
FAULTS = {
    "a visit taken back leaves its flag": (
        "clinic/visits/writes/taking_back.py",
        "        flag_withdraw(by=by, flag=row, reason=why)",
        "        pass",
    ),
    "closing ignores a later open area": (
        "clinic/lesions/writes/closure.py",
        "    found = open_after(lesion, day)",
        "    found = None",
    ),
    "an open area reopens nothing": (
        "clinic/lesions/writes/closure.py",
        "        found = open_after(lesion, lesion.closed_on)",
        "        found = None",
    ),
    "questions are not counted of who left": (
        "clinic/people/reads/left_open.py",
        "        found[whose][name] += 1",
        '        found[whose][name] += name not in ("look", "lesion", "device")',
    ),
    "a merged record is written to": (
        "clinic/record/writes/rows.py",
        '            person_allowed(person, "care" if begins else "correct")',
        '            person.state == "merged" or person_allowed(person, "care" if begins else "correct")',
    ),
    "somebody who died is cared for": (
        "clinic/record/writes/rows.py",
        "        if isinstance(person, Person):",
        '        if isinstance(person, Person) and person.state != "died":',
    ),
    "a device stands on two lists": (
        "clinic/week/reads/today.py",
        "        if d.open_by == day\n",
        "        if d.open_by and d.open_by <= day\n",
    ),
    "sealing leaves a later next date": (
        "clinic/devices/writes/wear.py",
        "    if open_by is not None and row.review_on is not None and sealed:",
        "    if False:",
    ),
    "a flag is answered past its history": (
        "clinic/alerts/writes/flags.py",
        "    store(flag, by=by, expected_version=expected_version)\n",
        "    type(flag).objects.filter(pk=flag.pk).update(answer=flag.answer, version=flag.version + 1)\n",
    ),
    "a link outlives its account": (
        "clinic/accounts/writes/accounts.py",
        "        links_end(user)  # nor",
        "        pass  # nor",
    ),
}
COPIED = ("clinic", "offload", "tests", "templates", "static", "fixtures", "pyproject.toml")


def copy_of(folder: Path, path: str, old: str, new: str) -> None:
    for name in COPIED:
        here = ROOT / name
        (shutil.copytree if here.is_dir() else shutil.copy)(here, folder / name)
    text = (folder / path).read_text()
    if text.count(old) != 1:
        raise SystemExit(f"{path}: {old!r} stands there {text.count(old)} times, and must stand once")
    (folder / path).write_text(text.replace(old, new))


def found(folder: Path, sequences: int, seed: int) -> tuple[int, str]:
    """After how many sequences, and by which law or error; no words where it was not found."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.clinic.lifecycle.long_run", str(sequences), "60", str(seed)],
        cwd=folder,
        env={**os.environ, "SHRINK": "0"},
        capture_output=True,
        text=True,
    )
    told = re.search(r"^(\d+) sequences", done.stdout, re.MULTILINE)
    count = int(told[1]) if told else 0
    law = re.search(r"law: (.*)", done.stderr)
    error = re.search(r"^([\w.]*(?:Error|Exception|Refused|Fault)\b.*)", done.stderr, re.MULTILINE)
    said = law or error
    return count, said[1] if said and done.returncode else ""


def main(sequences: int = 40, seed: int = 1, *words: str) -> int:
    missed = 0
    for name, change in FAULTS.items():
        if words and " ".join(words) not in name:
            continue
        with tempfile.TemporaryDirectory() as folder:
            copy_of(Path(folder), *change)
            count, said = found(Path(folder), sequences, seed)
        missed += not said
        print(
            f"{name}: {f'found in sequence {count}, {said}' if said else f'NOT found in {count}'}", flush=True
        )
    return int(missed > 0)


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:3]]
    sys.exit(main(*numbers, *sys.argv[3:]))
