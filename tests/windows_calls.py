"""xlwings' own server of worksheet functions, called as Excel on Windows would, with stand-ins for the Windows parts.

Run as a program in a process of its own: it prints as JSON the VBA text that xlwings would write, the descriptions it
would hand to Excel, and the answers to calls whose arguments stand in cells of a workbook, are typed, or are left out.
"""
from __future__ import annotations

import io
import json
import sys
import types
from pathlib import Path

import openpyxl
import xlwings
import xlwings_engine as rig

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
LEFT_OUT = -2147352572  # how the server sees an argument that is not there


def stand_ins():
    """The few names that xlwings.udfs takes from Windows."""
    parts = {"pythoncom": {"IID_IDispatch": None, "CoInitialize": None}, "pywintypes": {"com_error": OSError}, "win32com": {},
             "win32com.client": {"Dispatch": lambda thing: thing}, "xlwings.com_server": {"loop": None},
             "xlwings._xlwindows": {"Range": lambda xl: xl, "is_range_instance": lambda thing: isinstance(thing, rig.Range)}}
    for name, content in parts.items():
        module = types.ModuleType(name)
        vars(module).update(content)
        sys.modules[name] = module
    xlwings._xlwindows = sys.modules["xlwings._xlwindows"]


def main(calls):
    stand_ins()
    import xlwings.udfs as udfs

    from workbook_template.addin import excel_functions
    rig.install()
    made = excel_functions.for_excel(types.SimpleNamespace(func=udfs.xlfunc, arg=udfs.xlarg))
    module = types.SimpleNamespace(**made)
    text = io.StringIO()
    udfs.generate_vba_wrapper("functions", module, text, types.SimpleNamespace(Name="yard.xlsm"))
    udfs.udf_modules["functions"] = {"module": module, "filetime": None}

    book = openpyxl.Workbook()
    path = Path(sys.argv[1])
    book.save(path)
    backend = rig.Openpyxl(path)
    sheet = rig.opened(backend, path).sheets[0].impl
    answers, row = [], 1
    for name, given in calls:
        cells = []
        for value in given:
            if isinstance(value, dict):  # {"cells": rows}: a range; {}: left out
                if not value:
                    cells.append(LEFT_OUT)
                    continue
                for r, line in enumerate(value["cells"]):
                    for c, cell in enumerate(line):
                        backend.book["Sheet"].cell(row + r, 1 + c).value = cell
                cells.append(rig.Range(sheet, row, 1, len(value["cells"]), len(value["cells"][0])))
                row += len(value["cells"])
            else:
                cells.append(tuple(map(tuple, value)) if isinstance(value, list) else value)
        answers.append(udfs.call_udf("functions", name, tuple(cells), None, rig.Range(sheet, 1, 20, 1, 1)))
    abouts = {name: {"about": f.__xlfunc__["ret"]["doc"], "category": f.__xlfunc__["category"],
                     "helps": [arg["doc"] for arg in f.__xlfunc__["args"]]} for name, f in made.items()}
    print(json.dumps({"text": text.getvalue(), "abouts": abouts, "answers": answers}))


if __name__ == "__main__":
    main(json.load(sys.stdin))
