"""Builds the example workbooks from their CSV files, refreshes them, and draws the pictures of the README.

Needs LibreOffice and pdftoppm on the PATH for the pictures. Run it after a change to the examples or to the looks.
"""
from __future__ import annotations

import datetime as dt
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

HOME = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(HOME))
EXAMPLES = HOME / "examples"
YARDS = {"hollow_us": ("us", "hollow.xlsx"), "brook_metric": ("metric", "brook.xlsx")}
PICTURES = {"Plan": "plan", "Start": "start", "Logs": "logs", "Yield": "yield", "Cost per pound": "cost", "What pays": "pays", "Budget": "budget"}
IN_SEASON = {"This week": "week", "Season": "season", "Coming weeks": "coming"}  # as of a day in June, so that there is something to do
JUNE = dt.date(2026, 6, 14)


def build_all() -> None:
    from workbook_template.build import build
    from workbook_template.refresh import refresh_file
    from workbook_template.yard import read_folder
    for folder, (profile, name) in YARDS.items():
        path = EXAMPLES / name
        yard = read_folder(EXAMPLES / folder, profile)
        yard.mark = folder.encode().hex()[:16]  # a new one each time would change the file
        build(path, yard, as_of=yard.settings["as_of_typed"])
        outcome = refresh_file(path, progress=False, stamp="Refreshed when this example was made.")
        outcome.backup.unlink()
        print(outcome.closing())


def draw_in_season(folder: Path) -> None:
    """The sheets of IN_SEASON as of a day in June."""
    from workbook_template.refresh import refresh_file
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "hollow.xlsx"
        refresh_file(EXAMPLES / "hollow.xlsx", path, today=JUNE, progress=False)
        draw(path, folder, IN_SEASON)


def draw(path: Path, folder: Path, pictures: dict[str, str]) -> None:
    """The first printed page of the sheets named, as PNG. pictures: sheet -> name of the picture."""
    with tempfile.TemporaryDirectory() as scratch:
        subprocess.run(["soffice", "--headless", f"-env:UserInstallation={Path(scratch).as_uri()}/profile", "--convert-to", "pdf",
                        "--outdir", scratch, str(path)], check=True, capture_output=True)
        pdf = Path(scratch) / (path.stem + ".pdf")
        pages = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], check=True, capture_output=True, text=True).stdout.split("\f")
        for sheet, name in pictures.items():
            number = next(i for i, page in enumerate(pages, start=1)
                          if any(f"  {sheet}  " in line and " / " in line for line in page.splitlines()[-12:]))
            page = ["-r", "95", "-singlefile", "-f", str(number), "-l", str(number), str(pdf)]
            subprocess.run(["pdftoppm", *page, f"{scratch}/page"], check=True)
            left, top, width, height = inked(Path(scratch) / "page.ppm")
            area = ["-x", str(left), "-y", str(top), "-W", str(width), "-H", str(height)]
            subprocess.run(["pdftoppm", "-png", *area, *page, str(folder / name)], check=True)


def inked(picture: Path, rim: int = 12, foot: float = 0.94) -> tuple[int, int, int, int]:
    """Left, top, width and height of what is not white above the page's footer, with a rim. picture: a binary PPM."""
    _, width, height, _, pixels = picture.read_bytes().split(maxsplit=4)
    shape = int(height), int(width), 3
    dark = (np.frombuffer(pixels[-shape[0] * shape[1] * 3:], dtype=np.uint8).reshape(shape) < 250).any(axis=2)
    rows, columns = np.flatnonzero(dark[:int(shape[0] * foot)].any(axis=1)), np.flatnonzero(dark.any(axis=0))
    left, top = max(0, int(columns[0]) - rim), max(0, int(rows[0]) - rim)
    return left, top, int(columns[-1]) + rim - left, int(rows[-1]) + rim - top


def main() -> int:
    build_all()
    if shutil.which("soffice") is None or shutil.which("pdftoppm") is None:
        print("No pictures drawn: LibreOffice and pdftoppm are needed for them.")
        return 0
    pictures = EXAMPLES / "pictures"
    pictures.mkdir(exist_ok=True)
    draw(EXAMPLES / "hollow.xlsx", pictures, PICTURES)
    draw_in_season(pictures)
    return 0


if __name__ == "__main__":
    sys.exit(main())
