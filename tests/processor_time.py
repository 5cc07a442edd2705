"""Where the processor seconds of a run go: printed by part of the suite after the tests, workers added up."""

from __future__ import annotations

import resource
from collections import Counter
from pathlib import Path

import pytest

START = "start: imports and collection"
AFTER = "after the tests: browsers and servers that ended last"


def spent(*whose: int) -> float:
    """Processor seconds of this process, or of its children that have ended, with their own."""
    return sum(used.ru_utime + used.ru_stime for used in map(resource.getrusage, whose))


def part(path: Path, root: Path) -> str:
    """The folder two levels below `tests`, or the module that stands higher."""
    return "/".join(path.relative_to(root).parts[:3])


class ProcessorTime:
    """A plugin of each process of the run; workers of xdist hand their sums to the one that prints."""

    def __init__(self, config: pytest.Config):
        self.config = config
        self.parts: Counter[str] = Counter()
        self.seen = 0.0
        # Children of a process that hands tests out are its workers, which tell their own seconds.
        workers = config.getoption("numprocesses", 0) and not hasattr(config, "workerinput")
        children = () if workers else (resource.RUSAGE_CHILDREN,)
        self.whose = (resource.RUSAGE_SELF, *children)

    def book(self, name: str) -> None:
        now = spent(*self.whose)
        self.parts[name] += now - self.seen
        self.seen = now

    def pytest_collection_finish(self):
        self.book(START)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item):
        try:
            return (yield)
        finally:
            self.book(part(item.path, self.config.rootpath))

    @pytest.hookimpl(trylast=True)
    def pytest_sessionfinish(self):
        self.book(AFTER)
        if hasattr(self.config, "workeroutput"):
            self.config.workeroutput["processor_seconds"] = dict(self.parts)

    @pytest.hookimpl(optionalhook=True)
    def pytest_testnodedown(self, node):
        self.parts.update(getattr(node, "workeroutput", {}).get("processor_seconds", {}))

    def pytest_terminal_summary(self, terminalreporter):
        terminalreporter.section(f"{sum(self.parts.values()):.0f} processor seconds")
        for name, seconds in self.parts.most_common():
            if seconds >= 1:
                terminalreporter.write_line(f"{seconds:7.1f}  {name}")
