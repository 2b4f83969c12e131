"""The checks of boltbook doctor: each looks at one thing and says whether it is well and how to mend it."""
from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from workbook_template.computer import MAC, WINDOWS, Computer

OK, LOOK, MEND = "ok", "look at", "mend"
OLDEST_PYTHON = (3, 11)
NEEDED = ("click", "defusedxml", "fastexcel", "icalendar", "numpy", "openpyxl", "pandas", "pint", "pyarrow", "pydantic", "rich", "scipy",
          "XlsxWriter")
XLWINGS_LINE = "0.37"  # the line of versions that the package is tested with
INSTALL_XLWINGS = 'python -m pip install "xlwings>=0.37.8,<0.38"'
OFFICE_EXTENSION = "boltbook.office.extension"
INSTALL_ADDIN = "With Excel closed: python -m xlwings.cli addin install"
RESTORE = "Protection software may have removed it. Restore it there, or reinstall it: " + INSTALL_XLWINGS + " --force-reinstall"
BREAKS_MACROS = "&'\";|=%"


@dataclass(frozen=True)
class Finding:
    """One line. needed: the main job (make, refresh and check a workbook) does not work without it."""

    level: str
    words: str
    how: str = ""
    needed: bool = False


def python(pc: Computer) -> list[Finding]:
    shown = ".".join(map(str, pc.python))
    if pc.python[:2] < OLDEST_PYTHON:
        return [Finding(MEND, f"Python {shown} is too old: 3.11 or newer is needed.", "Install a newer one from python.org.", True)]
    found = [Finding(OK, f"Python {shown}, {pc.bits}-bit: {pc.executable}")]
    if pc.platform == WINDOWS and "WindowsApps" in str(pc.executable):
        found.append(Finding(LOOK, "This Python comes from the Microsoft Store: Excel's Refresh button may not be allowed to start it.",
                             "Install Python from python.org, then boltbook into it. The commands work either way."))
    on_path = pc.program("python")
    if pc.platform == WINDOWS and on_path and "WindowsApps" in str(on_path) and "WindowsApps" not in str(pc.executable):
        found.append(Finding(LOOK, 'The word "python" starts the Microsoft Store here, not this Python.',
                             "Settings, Apps, Advanced app settings, App execution aliases: switch python.exe off."))
    return found


def package(pc: Computer) -> list[Finding]:
    missing = [name for name in NEEDED if name not in pc.versions]
    if missing:
        return [Finding(MEND, f"Packages are missing: {', '.join(missing)}.", "python -m pip install --upgrade boltbook   "
                        "Without internet or behind a proxy: copy the wheels and add  --no-index --find-links FOLDER", True)]
    if "boltbook" not in pc.versions:
        return [Finding(LOOK, "Boltbook runs from a folder and is not installed: Excel and LibreOffice will not find it.",
                        "In that folder: python -m pip install .")]
    found = [Finding(OK, f"Boltbook {pc.versions['boltbook']} with all its packages.")]
    if not pc.program("boltbook"):
        found.append(Finding(LOOK, 'The word "boltbook" is not found by this terminal.', "Type  python -m workbook_template.cli  in its place, "
                             "or add Python's Scripts (Windows) or bin folder to PATH."))
    return found


def spreadsheet(pc: Computer) -> list[Finding]:
    """Excel or LibreOffice: either will do, and the refresh of a closed file needs neither."""
    found = excel(pc)
    office = libreoffice_program(pc)
    if office:
        found.append(Finding(OK, f"LibreOffice: {office}"))
    if not found:
        found.append(Finding(LOOK, "Neither Excel nor LibreOffice was found.", "A workbook opens in any program for .xlsx; a refresh of the "
                             "closed file needs none."))
    return found


def excel(pc: Computer) -> list[Finding]:
    if pc.platform == MAC:
        place = pc.place("/Applications/Microsoft Excel.app")
        return [Finding(OK, f"Excel: {place}")] if place.exists() else []
    if pc.platform != WINDOWS:
        return []
    program, known = pc.registry
    if not program:
        return []
    if "WindowsApps" in program:
        return [Finding(LOOK, "This Excel comes from the Microsoft Store: worksheet functions and the Refresh button may not work in it.",
                        "Install Office from your account page, or close the workbook and use: boltbook refresh NAME")]
    if not known:
        return [Finding(LOOK, "Excel is there, but other programs cannot reach it (its registration is broken).",
                        "Settings, Apps, Microsoft 365 or Office, Modify, Quick Repair.")]
    return [Finding(OK, f"Excel: {program}")]


def libreoffice_program(pc: Computer) -> Path | None:
    usual = {MAC: ["/Applications/LibreOffice.app"]}.get(pc.platform, [])
    if pc.platform == WINDOWS:
        usual = [str(Path(pc.environment[key]) / "LibreOffice/program/soffice.exe") for key in ("ProgramFiles", "ProgramFiles(x86)")
                 if key in pc.environment]
    places = [Path(text) if pc.platform == WINDOWS else pc.place(text) for text in usual]
    return pc.program("soffice") or next((place for place in places if place.exists()), None)


def office_extension(pc: Computer) -> list[Finding]:
    """The LibreOffice extension: there, and of this version."""
    if not libreoffice_program(pc):
        return []
    base = {WINDOWS: pc.roaming() / "LibreOffice", MAC: pc.home / "Library/Application Support/LibreOffice"}.get(
        pc.platform, pc.home / ".config/libreoffice")
    for about in base.glob("4/user/uno_packages/cache/uno_packages/*/*/description.xml"):
        text = about.read_text(encoding="utf-8", errors="replace")
        if OFFICE_EXTENSION not in text:
            continue
        version = re.search(r'<version value="([^"]*)"', text)
        if version and version[1] == pc.versions.get("boltbook", version[1]):
            return [Finding(OK, f"LibreOffice has the Boltbook extension {version[1]}.")]
        return [Finding(MEND, f"LibreOffice has the Boltbook extension of another version ({version[1] if version else 'unknown'}).",
                        "Close LibreOffice, then: boltbook addin libreoffice --install")]
    return [Finding(LOOK, "LibreOffice does not have the Boltbook extension (BOLT functions, menu Refresh).",
                    "Close LibreOffice, then: boltbook addin libreoffice --install")]


def xlwings(pc: Computer) -> list[Finding]:
    """The package that reaches Excel, and its parts for this system."""
    if pc.platform not in (WINDOWS, MAC):
        return []
    version = pc.versions.get("xlwings")
    if not version:
        return [Finding(MEND, "The Python package xlwings is missing: no refresh inside Excel.", INSTALL_XLWINGS)]
    if not version.startswith(XLWINGS_LINE + "."):
        return [Finding(MEND, f"xlwings {version} is another line than the one tested ({XLWINGS_LINE}).", INSTALL_XLWINGS)]
    part = "pywin32" if pc.platform == WINDOWS else "appscript"
    if part not in pc.versions:
        return [Finding(MEND, f"xlwings {version} lacks its part {part}.", f"python -m pip install {part}")]
    said = pc.troubles.get("win32com.client", "")
    if said:
        how = ("Close Excel and delete the folder gen_py in your temporary folder (type %TEMP% in the Explorer's address line)."
               if "CLSIDToClassMap" in said or "gen_py" in said else "python -m pip install --force-reinstall pywin32")
        return [Finding(MEND, f"The Windows part of xlwings does not start ({said}).", how)]
    return [Finding(OK, f"xlwings {version} with {part}.")]


def addin(pc: Computer) -> list[Finding]:
    """The xlwings add-in in Excel: the Refresh button and the worksheet functions go through it."""
    if pc.platform not in (WINDOWS, MAC) or pc.xlwings_home is None:
        return []
    ours = pc.xlwings_home / "addin" / "xlwings.xlam"
    if not ours.exists() or not ours.stat().st_size:
        return [Finding(MEND, f"{ours.name} of the xlwings package is gone or empty.", RESTORE)]
    start = pc.roaming() / "Microsoft/Excel/XLSTART" if pc.platform == WINDOWS else (
        pc.home / "Library/Group Containers/UBF8T346G9.Office/User Content.localized/Startup.localized/Excel")
    there = start / ours.name
    if not there.exists():
        return [Finding(LOOK, "The add-in of xlwings is not installed: no Refresh button and no worksheet functions in Excel.", INSTALL_ADDIN)]
    if not there.stat().st_size:
        return [Finding(MEND, f"The add-in in Excel is empty: {there}", RESTORE + ". " + INSTALL_ADDIN)]
    if there.read_bytes() != ours.read_bytes():
        return [Finding(MEND, f"The add-in in Excel is of another version than xlwings {pc.versions.get('xlwings', '')}.", INSTALL_ADDIN)]
    return [Finding(OK, f"The add-in of xlwings is in Excel, the same version: {there}"), *_parts(pc)]


def _parts(pc: Computer) -> list[Finding]:
    """What the add-in calls by a name with the version in it."""
    version = pc.versions.get("xlwings", "")
    if pc.platform == MAC:
        script = pc.home / f"Library/Application Scripts/com.microsoft.Excel/xlwings-{version}.applescript"
        return [] if script.exists() else [Finding(MEND, f"The script of the Refresh button is missing: {script.name}",
                                                   "python -m xlwings.cli runpython install")]
    names = [f"xlwings{bits}-{version}.dll" for bits in (32, 64)]
    missing = [name for name in names if not any((prefix / name).exists() for prefix in pc.prefixes)]
    return [] if not missing else [Finding(MEND, f"Missing beside Python: {', '.join(missing)}. Worksheet functions in Excel give #NAME?.",
                                           RESTORE)]


def settings(pc: Computer) -> list[Finding]:
    """The settings file of xlwings: which Python the Refresh button starts."""
    if pc.platform not in (WINDOWS, MAC):
        return []
    path = pc.home / (".xlwings/xlwings.conf" if pc.platform == WINDOWS else "Library/Containers/com.microsoft.Excel/Data/xlwings.conf")
    anew = "python -m xlwings.cli config create --force"
    if not path.exists():
        return [Finding(LOOK, "xlwings has no settings file: the Refresh button starts whichever Python comes first.", anew)]
    text = path.read_text(encoding="utf-8", errors="replace")
    conf = {key.strip('" ').upper(): value.strip('" ') for key, _, value in (line.partition(",") for line in text.splitlines()) if key.strip()}
    found = []
    interpreter = conf.get("INTERPRETER_WIN" if pc.platform == WINDOWS else "INTERPRETER_MAC", "")
    conda = conf.get("CONDA PATH"), conf.get("CONDA ENV")
    if any(conda) and (not all(conda) or interpreter not in ("", "python")):
        found.append(Finding(MEND, f"{path.name}: conda needs both CONDA PATH and CONDA ENV, and no INTERPRETER.", f"Change {path}"))
    elif not any(conda) and not interpreter:
        found.append(Finding(LOOK, f"{path.name} names no Python.", anew))
    elif interpreter and not re.fullmatch(r"python(w|\d[\d.]*)?(\.exe)?", re.split(r"[\\/]", interpreter)[-1], re.I):
        found.append(Finding(MEND, f"{path.name}: INTERPRETER must be the program itself, not a folder: {interpreter}", anew))
    elif interpreter not in ("", "python", "pythonw") and not Path(interpreter).exists():
        found.append(Finding(MEND, f"{path.name} names a Python that is not there any more: {interpreter}", anew))
    elif interpreter and Path(interpreter).parent != pc.executable.parent:
        found.append(Finding(LOOK, f"The Refresh button starts another Python than this one: {interpreter}", f"If boltbook is only here: {anew}"))
    if conf.get("PYTHONPATH", "").endswith("\\"):
        found.append(Finding(MEND, f"{path.name}: PYTHONPATH must not end in a backslash.", f"Take it off in {path}"))
    for key in ("SHOW CONSOLE", "USE UDF SERVER", "DEBUG UDFS", "ADD_WORKBOOK_TO_PYTHONPATH"):
        if conf.get(key, "").casefold() not in ("", "true", "false"):
            found.append(Finding(MEND, f"{path.name}: {key} must be True or False in English, not {conf[key]}.", f"Change {path}"))
    return found or [Finding(OK, f"The Refresh button starts {interpreter or 'the Python of ' + str(conda[1])}.")]


EVERYWHERE = (python, package, spreadsheet, office_extension, xlwings, addin, settings)


def workbook(pc: Computer, path: Path) -> list[Finding]:
    """One workbook: whether it is ours, open elsewhere, and whether its place breaks macros."""
    from workbook_template.ports.closed_file import ClosedFile
    from workbook_template.ports.preflight import FileProblem
    from workbook_template.ports.swap import lock_holder
    from workbook_template.refresh import profile_of
    if re.match("https?:", str(path)):
        return [Finding(MEND, f"{path.name} is given as a web address.", "Save it in a folder of this computer and give that path.")]
    if path.is_dir():
        return [Finding(MEND, f"{path} is a folder.", "Type the name of the workbook in it.")]
    if not path.exists():
        return [Finding(MEND, f"There is no file {path}.", "Check the spelling and the folder.")]
    found = []
    try:
        found.append(Finding(OK, f"{path.name} was made here ({profile_of(ClosedFile(path, force=True))} units)."))
    except FileProblem as problem:
        return [Finding(MEND, str(problem))]
    except OSError as error:
        return [Finding(MEND, f"{path.name} cannot be read: {error.strerror or error}.", "Close it in other programs and look at its permissions.")]
    holder = lock_holder(path)
    if holder:
        found.append(Finding(LOOK, holder.sentence(path.name), "Refresh inside that program, or close it there. If no one has it open, "
                             f"delete {holder.lock_file.name}"))
    return found + place(pc, path)


def place(pc: Computer, path: Path) -> list[Finding]:
    """The name and folder of a workbook, and where it came from."""
    found = []
    text = str(path.absolute())
    bad = sorted(set(BREAKS_MACROS) & set(text))
    if bad:
        found.append(Finding(LOOK, f"The name or folder of {path.name} has {' '.join(bad)}: the Refresh button stops at it.",
                             "Rename it with letters, digits, spaces, - and _ only."))
    clouds = [Path(value) for key, value in pc.environment.items() if key.upper().startswith("ONEDRIVE") and value]
    if any(cloud in path.absolute().parents for cloud in clouds) or re.search(r"OneDrive|SharePoint|Dropbox|Google Drive|iCloud", text, re.I):
        found.append(Finding(LOOK, f"{path.name} is in a cloud folder: Excel may see it as a web address, and two computers may change it at once.",
                             "Move it to a folder of this computer, such as Documents, for the Refresh button."))
    if path.suffix.casefold() == ".xlsm" and pc.platform == WINDOWS and _from_the_web(path):
        found.append(Finding(MEND, f"Windows marks {path.name} as downloaded: Excel blocks its macros.",
                             "Close it; in the Explorer right-click it, Properties, tick Unblock, OK. Only for a file you made or trust."))
    if (path.parent / "xlwings.conf").exists():
        found.append(Finding(LOOK, f"A file xlwings.conf stands beside {path.name} and goes before your own settings.",
                             "Delete it if you did not make it."))
    return found


def _from_the_web(path: Path) -> bool:
    """Whether the file carries Windows' mark of a download (zone 3 or 4)."""
    try:
        mark = Path(f"{path}:Zone.Identifier").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return False
    return bool(re.search(r"ZoneId=[34]", mark))
