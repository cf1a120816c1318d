"""The examples in the docstrings are true, and every public function has one."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
from types import ModuleType
from typing import Any

import pytest

import app.measure

MODULES = [importlib.import_module(found.name) for found in pkgutil.walk_packages(app.measure.__path__, "app.measure.")]
# What a module's examples may use without importing it: the names of the layer.
NAMES: dict[str, Any] = {name: value for module in MODULES for name, value in vars(module).items() if name[0] != "_"}
PLAIN = {"app.measure.arguments"}  # checks of arguments have no statistics to show


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_the_examples_of_a_module_are_true(module: ModuleType) -> None:
    assert doctest.testmod(module, extraglobs=NAMES | vars(module)).failed == 0


def test_every_public_function_has_an_example() -> None:
    """Public is what a package names in `__all__`, and in a module that stands alone every name without underscore."""
    without = [
        f"{module.__name__}.{name}"
        for module in MODULES
        if module.__name__.count(".") == 2 and module.__name__ not in PLAIN
        for name, function in inspect.getmembers(module, inspect.isfunction)
        if function.__module__.startswith(module.__name__) and name[0] != "_" and ">>>" not in (function.__doc__ or "")
    ]
    assert without == []
