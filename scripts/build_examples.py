"""Builds the example workbooks from their CSV files, refreshes them, and draws the pictures of the README.

Needs LibreOffice and pdftoppm on the PATH for the pictures. Run it after a change to the examples or to the looks.
"""
from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(HOME))
EXAMPLES = HOME / "examples"
YARDS = {"hollow_us": ("us", "hollow.xlsx"), "brook_metric": ("metric", "brook.xlsx")}
PICTURES = {"Plan": "plan", "Start": "start", "Logs": "logs", "Yield": "yield", "Cost per pound": "cost"}


def build_all() -> None:
    from workbook_template.build import build
    from workbook_template.refresh import refresh_file
    from workbook_template.yard import read_folder
    for folder, (profile, name) in YARDS.items():
        path = EXAMPLES / name
        yard = read_folder(EXAMPLES / folder, profile)
        build(path, yard, as_of=yard.settings["as_of_typed"])
        outcome = refresh_file(path, progress=False, stamp="Refreshed when this example was made.")
        outcome.backup.unlink()
        print(outcome.closing())


def draw(path: Path, folder: Path) -> None:
    """The first printed page of the sheets in PICTURES, as PNG."""
    with tempfile.TemporaryDirectory() as scratch:
        subprocess.run(["soffice", "--headless", f"-env:UserInstallation={Path(scratch).as_uri()}/profile", "--convert-to", "pdf",
                        "--outdir", scratch, str(path)], check=True, capture_output=True)
        pdf = Path(scratch) / (path.stem + ".pdf")
        pages = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], check=True, capture_output=True, text=True).stdout.split("\f")
        for sheet, name in PICTURES.items():
            number = next(i for i, page in enumerate(pages, start=1) if page.strip() and f"  {sheet}  " in page.strip().splitlines()[-1])
            subprocess.run(["pdftoppm", "-r", "75", "-png", "-singlefile", "-f", str(number), "-l", str(number), str(pdf),
                            str(folder / name)], check=True)


def main() -> int:
    build_all()
    if shutil.which("soffice") is None or shutil.which("pdftoppm") is None:
        print("No pictures drawn: LibreOffice and pdftoppm are needed for them.")
        return 0
    pictures = EXAMPLES / "pictures"
    pictures.mkdir(exist_ok=True)
    draw(EXAMPLES / "hollow.xlsx", pictures)
    return 0


if __name__ == "__main__":
    sys.exit(main())
