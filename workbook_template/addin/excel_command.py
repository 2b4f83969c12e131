"""boltbook addin excel: the worksheet functions as a module for Excel on Windows."""
from __future__ import annotations

from pathlib import Path

import click

from workbook_template.addin.excel_text import MODULE, functions_module
from workbook_template.cli import _guarded
from workbook_template.mistakes import BLOCKED, Mistake

FILE = "Boltbook_functions.bas"
STEPS = """Made {path}: {count} worksheet functions for Excel on Windows.
1. Once for this computer, with Excel closed:  python -m xlwings.cli addin install
2. In Excel, with your workbook open: Alt+F11, File, Import File, choose {name}. Save the workbook as .xlsm.
   A workbook made by  boltbook new --macro  has the functions already.
3. In any cell:  =BOLT_VOLUME(4, 5, 48)  gives 0.447 cu ft. For the help of each argument run the macro BoltbookDescribe once (Alt+F8).
#NAME? in a cell means that Python did not answer:  boltbook doctor  says why. On a Mac: the workbook's own formulas, and
boltbook refresh --live."""


@click.command()
@click.option("--out", type=click.Path(path_type=Path, file_okay=False, exists=True), default=".", help="Folder for the module file.")
def excel(out: Path) -> None:
    """Write the worksheet functions BOLT_… as a module for Excel on Windows, and say how to put it in."""
    from calc.functions import REGISTRY
    from workbook_template.ports.swap import write_new
    path = out / FILE
    try:
        if path.exists() and not path.read_text(encoding="ascii", errors="replace").startswith(f'Attribute VB_Name = "{MODULE}"'):
            raise Mistake(f"{path} exists and was not made here: it is left as it is. Choose another folder with --out.", BLOCKED)
    except OSError as error:
        raise Mistake(f"{path} cannot be written: {error.strerror or error}.", BLOCKED) from None
    _guarded(lambda: write_new(path, lambda part: part.write_text(functions_module(), encoding="ascii", newline="\r\n"), overwrite=True))
    click.echo(STEPS.format(path=path, name=FILE, count=len(REGISTRY)))
