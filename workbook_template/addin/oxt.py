"""Builds the LibreOffice extension, an .oxt file, from the registry: the same bytes for the same code."""
from __future__ import annotations

import tomllib
import zipfile
from importlib import metadata
from pathlib import Path

from workbook_template import cautions
from workbook_template.addin import declarations, kernel, menus, python_home
from workbook_template.ports.swap import write_new

IDENTIFIER = "boltbook.office.extension"
EXTENSION = Path(__file__).resolve().parent / "extension"
RIDER = "boltbook_office"
CONFIGURATION = ("CalcAddIns.xcu", "Addons.xcu", "ProtocolHandler.xcu")
OLDEST_OFFICE = "7.0"
_LONG_AGO = (1980, 1, 1, 0, 0, 0)

_TYPES = "application/vnd.sun.star."


def version() -> str:
    """The version of Boltbook: of the code beside a pyproject.toml, else of the installed package."""
    project = Path(__file__).resolve().parents[2] / "pyproject.toml"
    if project.exists():
        return tomllib.loads(project.read_text(encoding="utf-8"))["project"]["version"]
    return metadata.version("boltbook")


def _manifest() -> str:
    entries = [("boltbook.idl", "uno-typelibrary;type=RDB"), ("addin.components", "uno-components")]
    entries += [(name, "configuration-data") for name in CONFIGURATION]
    lines = "\n".join(
        f' <manifest:file-entry manifest:full-path="{name}" manifest:media-type="{_TYPES}{kind}"/>'
        for name, kind in entries)
    return f'''<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE manifest:manifest PUBLIC "-//OpenOffice.org//DTD Manifest 1.0//EN" "Manifest.dtd">
<manifest:manifest xmlns:manifest="http://openoffice.org/2001/manifest">
{lines}
</manifest:manifest>
'''


def _description() -> str:
    return f'''<?xml version="1.0" encoding="UTF-8"?>
<description xmlns="http://openoffice.org/extensions/description/2006"
             xmlns:l="http://libreoffice.org/extensions/description/2011">
  <identifier value="{IDENTIFIER}"/>
  <version value="{version()}"/>
  <platform value="all"/>
  <display-name><name lang="en">Boltbook</name></display-name>
  <dependencies>
    <l:LibreOffice-minimal-version value="{OLDEST_OFFICE}" l:name="LibreOffice {OLDEST_OFFICE}"/>
  </dependencies>
</description>
'''


def _rider_files() -> dict[str, str]:
    """The extension's own modules, and what it must know of this build."""
    found = [*sorted((EXTENSION / RIDER).glob("*.py")), Path(python_home.__file__)]
    made = {path.name: path.read_text(encoding="utf-8") for path in found}
    lines = "".join(f"    {words!r},\n" for words in cautions.START)
    made["built.py"] = (f'"""Written when the extension was built."""\nVERSION = "{version()}"\n'
                        f"CAUTIONS = (\n{lines})\n")
    return made


def files() -> dict[str, str]:
    """Path inside the extension -> text."""
    made = {
        "META-INF/manifest.xml": _manifest(),
        "description.xml": _description(),
        "addin.components": menus.components(),
        "boltbook.idl": declarations.interface(),
        "CalcAddIns.xcu": declarations.calc_addins(),
        "Addons.xcu": menus.addons(),
        "ProtocolHandler.xcu": menus.protocol_handler(),
        "addin.py": (EXTENSION / "addin.py").read_text(encoding="utf-8"),
    }
    made |= {f"pythonpath/{kernel.NAME}/{name}": text for name, text in kernel.files().items()}
    return made | {f"pythonpath/{RIDER}/{name}": text for name, text in _rider_files().items()}


def file_name() -> str:
    return f"boltbook-{version()}.oxt"


def build(folder: Path) -> Path:
    """Write the extension into a folder, whole or not at all; returns its path. Raises SaveProblem."""
    path = Path(folder) / file_name()
    write_new(path, _pack, overwrite=True)
    return path


def _pack(path: Path) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in sorted(files().items()):
            entry = zipfile.ZipInfo(name, _LONG_AGO)
            entry.compress_type, entry.create_system = zipfile.ZIP_DEFLATED, 3
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, text.encode("utf-8"), compresslevel=9)
