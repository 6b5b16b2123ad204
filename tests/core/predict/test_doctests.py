"""The examples in the docstrings of the prediction run."""

import doctest
import importlib
import pkgutil

import pytest

import referral.core.predict

MODULES = [
    found.name
    for found in pkgutil.walk_packages(
        referral.core.predict.__path__, f"{referral.core.predict.__name__}."
    )
]


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0
