"""The examples in the documentation of the pure packages are true: each is run, and the count is printed."""

from __future__ import annotations

import doctest
from importlib import import_module

import pytest

from tests.test_architecture import PURE, module_files, name_of

#: Functions that a reader of the pure packages meets first and that show how they are called.
LEAST = 20


def examples():
    """The examples of every module that holds any, one entry a function."""
    finder = doctest.DocTestFinder(exclude_empty=True)
    modules = [path for package in PURE for path in module_files(package) if ">>> " in path.read_text()]
    return [
        found
        for name in sorted({name_of(path) for path in modules})
        for found in finder.find(import_module(name))
        if found.examples
    ]


EXAMPLES = examples()


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.name)
def test_an_example_says_what_its_function_answers(example):
    told = []
    result = doctest.DocTestRunner().run(example, out=told.append)
    assert result.failed == 0, "".join(told)


def test_each_pure_package_shows_examples(capsys):
    counts = {package: sum(one.name.startswith(f"{package}.") for one in EXAMPLES) for package in PURE}
    with capsys.disabled():
        print(f"\nexamples run: {sum(counts.values())} functions, {counts}")
    assert sum(counts.values()) >= LEAST
    assert all(counts.values())
