"""For scripts/mutants.py: every test computes all that it checks, so that a mutant is run on each test that can notice it.

What an earlier test left in a cache, or a fixture made once for a whole module, would hide the mutant from those after.
The quick tests come first, and those that took longer than MUTANTS_WITHIN_S seconds, setting up included, are left out
when others are there.
"""
from __future__ import annotations

import functools
import json
import os
import sys
from pathlib import Path

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


DURATIONS = Path(os.environ.get("MUTANTS_DURATIONS", "durations.json"))
WITHIN_S = float(os.environ.get("MUTANTS_WITHIN_S", "0"))
TOOK = json.loads(DURATIONS.read_text(encoding="utf-8")) if DURATIONS.exists() else {}


def pytest_runtest_logreport(report):
    TOOK[report.nodeid] = report.duration + (0.0 if report.when == "setup" else TOOK.get(report.nodeid, 0.0))


def pytest_collection_modifyitems(config, items):
    items.sort(key=lambda item: TOOK.get(item.nodeid, 0.0))
    long = [item for item in items if WITHIN_S and TOOK.get(item.nodeid, 0.0) > WITHIN_S]
    if len(long) < len(items):
        items[:] = [item for item in items if item not in long]
        config.hook.pytest_deselected(items=long)
    if os.environ.get("MUTANT_UNDER_TEST") == "":  # the run without a fault: all of them passed just before, one is enough
        del items[1:]


def pytest_sessionfinish(session):
    if os.environ.get("MUTANT_UNDER_TEST") == "stats":
        DURATIONS.write_text(json.dumps(TOOK), encoding="utf-8")
