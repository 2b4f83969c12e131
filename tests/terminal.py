"""Python code run by a process of its own whose error output is a terminal."""
from __future__ import annotations

import os
import pty
import subprocess
import sys
import tempfile

PATHS = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "TERM": "xterm"}


def on_terminal(code: str) -> tuple[str, str]:
    """(what stood on the terminal, what came to standard output, which is a file)."""
    reading, writing = pty.openpty()
    with tempfile.TemporaryFile() as out:
        running = subprocess.Popen([sys.executable, "-c", code], stdout=out, stderr=writing, env=PATHS)
        os.close(writing)
        shown = b""
        try:
            while piece := os.read(reading, 65536):
                shown += piece
        except OSError:  # the terminal is closed on the other side
            pass
        os.close(reading)
        assert running.wait(60) == 0
        out.seek(0)
        return shown.decode(), out.read().decode()
