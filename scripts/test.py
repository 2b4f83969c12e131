"""Installs what the tests need and runs every test. Words after the command go to pytest.

On Debian and Ubuntu as root, LibreOffice comes through apt-get; elsewhere this says how to get it.
"""
from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
import environment  # noqa: E402

PACKAGES = ["libreoffice-calc", "python3-uno", "libreoffice-script-provider-python", "poppler-utils", "fonts-liberation"]
SYSTEM = "/usr/bin/python3"  # the Python that the office's bridge is built for
HOW = {
    "win32": "Install LibreOffice from libreoffice.org, then add its program folder to PATH.",
    "darwin": "Install LibreOffice from libreoffice.org, then add /Applications/LibreOffice.app/Contents/MacOS to PATH.",
}


def office_ready() -> None:
    """LibreOffice and pdftoppm on this machine, installed if that can be done here."""
    missing = [name for name in ("soffice", "pdftoppm", "unopkg") if shutil.which(name) is None]
    if sys.platform.startswith("linux") and (not os.path.exists(SYSTEM) or subprocess.run([SYSTEM, "-c", "import uno"],
                                                                                         capture_output=True).returncode):
        missing.append(f"uno for {SYSTEM}")
    if not missing:
        return
    if shutil.which("apt-get") and hasattr(os, "geteuid") and os.geteuid() == 0:
        print("Installing LibreOffice for the tests ...", flush=True)
        quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        environment.run(["apt-get", "update", "-qq"], env=quiet)
        code = environment.run(["apt-get", "install", "-y", "-qq", "--no-install-recommends", *PACKAGES], env=quiet)
        if code == 0 and shutil.which("soffice"):
            return
        sys.exit("apt-get could not install LibreOffice: see the lines above.")
    how = HOW.get(sys.platform, "Install these packages of your system: " + " ".join(PACKAGES))
    sys.exit(f"The tests run a real LibreOffice; not found: {', '.join(missing)}. {how}")


def main() -> int:
    python = environment.ready(extras=("test",))
    office_ready()
    # Two workers; a file's tests stay together, since they share the workbook and the office they began with.
    workers = ["-n", "2", "--dist", "loadfile"] if (os.cpu_count() or 1) > 1 and "-n" not in sys.argv else []
    return environment.run([str(python), "-m", "pytest", *workers, *sys.argv[1:]])


if __name__ == "__main__":
    sys.exit(main())
