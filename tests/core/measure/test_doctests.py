"""The examples in the docstrings of geometry and measure run."""

import doctest
import importlib
import pkgutil

import pytest

import referral.core.geometry
import referral.core.measure

MODULES = [
    "referral.core.units",
    *(
        found.name
        for package in (referral.core.geometry, referral.core.measure)
        for found in pkgutil.walk_packages(package.__path__, f"{package.__name__}.")
    ),
]


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0
