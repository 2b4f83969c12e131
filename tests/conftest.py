"""Shared fixtures: a LibreOffice that always computes, and one that trusts the values in the file."""
from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))
from office import NEVER_MODE, Office  # noqa: E402


@pytest.fixture(scope="session")
def office(tmp_path_factory) -> Office:
    return Office(tmp_path_factory.mktemp("office"))


@pytest.fixture(scope="session")
def trusting_office(tmp_path_factory) -> Office:
    return Office(tmp_path_factory.mktemp("trusting"), NEVER_MODE)
