"""The examples in the docstrings of rules and rulebook run."""

import doctest
import importlib
import pkgutil

import pytest

import referral.core.rules
import referral.rulebook

MODULES = [
    found.name
    for package in (referral.core.rules, referral.rulebook)
    for found in pkgutil.walk_packages(package.__path__, f"{package.__name__}.")
]


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0
