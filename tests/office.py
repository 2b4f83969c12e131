"""A real LibreOffice for the tests: one that computes every formula when it opens a file, and one that draws pages."""
from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import openpyxl

ALWAYS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"
 xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
 <item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>{mode}</value></prop></item>
</oor:items>
"""
ALWAYS_MODE, NEVER_MODE = 0, 1


class Office:
    """Runs LibreOffice with a profile of its own, so that nothing of this machine's user settings matters."""

    def __init__(self, folder: Path, mode: int = ALWAYS_MODE):
        self.program = shutil.which("soffice")
        assert self.program, "LibreOffice is missing: python3 scripts/test.py says how to get it"
        self.folder = folder
        user = folder / "profile" / "user"
        user.mkdir(parents=True)
        (user / "registrymodifications.xcu").write_text(ALWAYS.format(mode=mode), encoding="utf-8")

    def convert(self, path: Path, kind: str) -> Path:
        """The file as LibreOffice saves it in another kind (xlsx, pdf, csv)."""
        return self.convert_all([path], kind)[0]

    def convert_all(self, paths: list[Path], kind: str) -> list[Path]:
        """Several files in one run."""
        out = self.folder / f"out-{kind}"
        out.mkdir(exist_ok=True)
        clean = {k: v for k, v in os.environ.items() if k not in ("PYTHONHOME", "PYTHONPATH", "VIRTUAL_ENV")}
        command = [self.program, "--headless", "--norestore", f"-env:UserInstallation={(self.folder / 'profile').as_uri()}",
                   "--convert-to", kind, "--outdir", str(out), *map(str, paths)]
        done = subprocess.run(command, env=clean, capture_output=True, text=True, timeout=max(300, 40 * len(paths)))
        made = [out / (path.stem + "." + kind.partition(":")[0]) for path in paths]
        assert all(file.exists() for file in made), f"LibreOffice did not write {[file.name for file in made]}: {done.stdout} {done.stderr}"
        return made

    def computed(self, path: Path) -> openpyxl.Workbook:
        """The workbook with the values LibreOffice computed."""
        return openpyxl.load_workbook(self.convert(path, "xlsx"), data_only=True)
