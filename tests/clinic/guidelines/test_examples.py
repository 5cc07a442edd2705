"""The examples in the docstrings hold."""

import doctest
import importlib
import pkgutil

import pytest

from clinic import guidelines

MODULES = [f"clinic.guidelines.{module.name}" for module in pkgutil.iter_modules(guidelines.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_of_a_module_hold(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_some_module_has_examples():
    found = [doctest.DocTestFinder().find(importlib.import_module(name)) for name in MODULES]
    assert sum(len(test.examples) for tests in found for test in tests) >= 5
