"""Prints what share of the lines of each pure package its own tests ran when `make coverage` measured it."""

from __future__ import annotations

import os
from collections import defaultdict
from datetime import UTC, datetime
from pathlib import Path

from coverage import Coverage
from coverage.exceptions import NoSource

from tests.test_architecture import CORE, PURE, ROOT, module_files


def packages() -> list[str]:
    """The pure packages; the relief core by its folders."""
    return [name for name in PURE if name != "offload.core"] + [f"offload.core.{folder}" for folder in CORE]


def shares(file: Path) -> dict[str, tuple[int, int]]:
    """Lines run and lines there are, by package."""
    measured = Coverage(data_file=str(file))
    measured.load()
    found: dict[str, tuple[int, int]] = defaultdict(lambda: (0, 0))
    for package in packages():
        for path in module_files(package):
            try:
                _, lines, _, missed, _ = measured.analysis2(str(path))
            except NoSource:
                continue
            run, there = found[package]
            found[package] = (run + len(lines) - len(missed), there + len(lines))
    return found


def main() -> None:
    file = Path(os.environ.get("VAR_DIR", ROOT / "var")) / "coverage"
    if not file.exists():
        print("coverage: not measured here yet; `make coverage` does")
        return
    day = datetime.fromtimestamp(file.stat().st_mtime, UTC)
    print(f"coverage of the pure packages by their own tests, measured {day:%Y-%m-%d %H:%M} UTC:")
    for package, (run, there) in shares(file).items():
        print(f"{100 * run / there:6.1f} %  {package}, {there} lines")


if __name__ == "__main__":
    main()
