"""For scripts/mutants.py: every test computes all that it checks, so that a mutant is run on each test that can notice it.

What an earlier test left in a cache, or a fixture made once for a whole module, would hide the mutant from those after.
"""
from __future__ import annotations

import functools
import sys

import pytest

_fixture = pytest.fixture


@functools.wraps(_fixture)
def _made_anew(*given, scope="function", **more):
    return _fixture(*given, scope="function" if scope == "module" else scope, **more)


pytest.fixture = _made_anew


def pytest_runtest_setup(item):
    for name, module in list(sys.modules.items()):
        if name.startswith("calc."):
            for value in list(vars(module).values()):
                if hasattr(value, "cache_clear"):
                    value.cache_clear()
