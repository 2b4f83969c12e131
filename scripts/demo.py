"""The main job on the invented demo yard: build its workbook, refresh it, print the main answers.

Needs only Python 3.11 or later: makes its own virtual environment in .venv beside this folder, installs Boltbook
there, and writes demo/hollow.xlsx. Run it again: the environment is reused, nothing is fetched.
"""
from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
import environment  # noqa: E402

HOME = environment.HOME


def main() -> int:
    python = environment.ready(extras=())
    if Path(sys.executable).resolve() != python.resolve() and not environment.inside(python):
        return environment.run([str(python), str(Path(__file__).resolve())])
    return demo()


def demo() -> int:
    sys.path.insert(0, str(HOME))
    from workbook_template.build import build
    from workbook_template.refresh import refresh_file
    from workbook_template.yard import read_folder

    folder = HOME / "demo"
    folder.mkdir(exist_ok=True)
    path = folder / "hollow.xlsx"
    yard = read_folder(HOME / "examples" / "hollow_us", "us")
    build(path, yard)
    outcome = refresh_file(path, progress=False)
    print("Boltbook demo: an invented yard, five woods and four strains over three seasons\n")
    for question, value in outcome.answers:
        print(f"{question:<52} {value}")
    print("\n" + outcome.closing())
    print(f"Open it in your spreadsheet program: {path}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
