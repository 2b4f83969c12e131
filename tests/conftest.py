"""Shared fixtures: a LibreOffice that always computes, one that trusts the values in the file, and the demo yard refreshed."""
from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))
from office import NEVER_MODE, Office  # noqa: E402

STAMP = "Refreshed for a test."


@pytest.fixture(scope="session")
def office(tmp_path_factory) -> Office:
    return Office(tmp_path_factory.mktemp("office"))


@pytest.fixture(scope="session")
def trusting_office(tmp_path_factory) -> Office:
    return Office(tmp_path_factory.mktemp("trusting"), NEVER_MODE)


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """The demo yard as a workbook: (before, after a refresh, what came of it)."""
    from workbook_template.build import build
    from workbook_template.refresh import refresh_file
    from workbook_template.yard import read_folder
    folder = tmp_path_factory.mktemp("demo")
    before, after = folder / "before.xlsx", folder / "hollow.xlsx"
    build(before, read_folder(Path(__file__).resolve().parent.parent / "examples" / "hollow_us", "us"))
    shutil.copy(before, after)
    return before, after, refresh_file(after, progress=False, stamp=STAMP)
