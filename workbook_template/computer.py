"""What boltbook doctor sees of a computer. Checks read nothing but this, so that tests can stand in for any machine."""
from __future__ import annotations

import importlib.util
import os
import shutil
import sys
from dataclasses import dataclass, field
from importlib import metadata
from pathlib import Path

WINDOWS, MAC, LINUX = "win32", "darwin", "linux"
EXCEL_KEYS = (r"SOFTWARE\Microsoft\Windows\CurrentVersion\App Paths\excel.exe", r"Excel.Application\CLSID")


@dataclass
class Computer:
    """platform: as sys.platform says. versions: package -> version, of those installed. registry: the two readings of
    EXCEL_KEYS, None where a key is not there. troubles: module -> what its import says, for those that fail.
    """

    platform: str
    python: tuple[int, int, int]
    bits: int
    executable: Path
    prefixes: tuple[Path, ...]
    home: Path
    environment: dict[str, str]
    versions: dict[str, str]
    xlwings_home: Path | None
    registry: tuple[str | None, str | None] = (None, None)
    programs: dict[str, str] = field(default_factory=dict)  # name -> path, of those found on the search path
    troubles: dict[str, str] = field(default_factory=dict)
    root: Path = Path("/")  # before absolute places such as /Applications

    def program(self, name: str) -> Path | None:
        return Path(self.programs[name]) if name in self.programs else None

    def place(self, absolute: str) -> Path:
        """A place such as /Applications on this computer."""
        return self.root / absolute.lstrip("/")

    def roaming(self) -> Path:
        """Where programs on Windows keep a user's settings."""
        return Path(self.environment.get("APPDATA") or self.home / "AppData" / "Roaming")


def this_computer(packages: list[str]) -> Computer:
    """The one the command runs on. packages: distributions to look for."""
    platform = sys.platform if sys.platform in (WINDOWS, MAC) else LINUX
    versions = {name: found for name in packages if (found := _version(name))}
    spec = importlib.util.find_spec("xlwings")
    return Computer(
        platform, sys.version_info[:3], 64 if sys.maxsize > 2**32 else 32, Path(sys.executable),
        tuple(dict.fromkeys(map(Path, (sys.prefix, sys.base_prefix, sys.exec_prefix, Path(sys.executable).parent)))),
        Path.home(), dict(os.environ), versions, Path(spec.origin).parent if spec and spec.origin else None,
        (_registry(EXCEL_KEYS[0], False), _registry(EXCEL_KEYS[1], True)) if platform == WINDOWS else (None, None),
        {name: found for name in ("boltbook", "soffice", "python") if (found := shutil.which(name))},
        {"win32com.client": said} if platform == WINDOWS and (said := _trouble("win32com.client")) else {})


def _version(name: str) -> str | None:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return None


def _trouble(module: str) -> str | None:
    """What goes wrong when a module is imported."""
    try:
        __import__(module)
    except Exception as error:  # a broken cache of pywin32 raises AttributeError
        return f"{type(error).__name__}: {error}"
    return None


def _registry(key: str, of_class: bool) -> str | None:
    import winreg
    try:
        with winreg.OpenKey(winreg.HKEY_CLASSES_ROOT if of_class else winreg.HKEY_LOCAL_MACHINE, key) as found:
            return str(winreg.QueryValueEx(found, "")[0])
    except OSError:
        return None
