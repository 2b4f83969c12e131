"""A progress bar for work that takes longer than two seconds; short work shows nothing and loads nothing."""
from __future__ import annotations

import sys
import threading

PATIENCE = 2.0  # seconds of silence


class Steps:
    """`with Steps(names) as step`: step("Reading") says what begins. On a terminal a bar appears after two seconds.

    names: the steps in their order, as step will be told. shown False: silent always.
    """

    def __init__(self, names, shown: bool = True, patience: float | None = None):
        self.names, self.patience = tuple(names), PATIENCE if patience is None else patience
        self.shown = shown and sys.stderr.isatty()
        self.words, self.bar = "", None
        self.lock = threading.Lock()

    def __enter__(self):
        if self.shown:
            self.timer = threading.Timer(self.patience, self._show)
            self.timer.daemon = True
            self.timer.start()
        return self._step

    def __exit__(self, *exc):
        if self.shown:
            self.timer.cancel()
            with self.lock:
                self.shown = False
                if self.bar is not None:
                    self.bar.stop()

    def _step(self, words: str) -> None:
        with self.lock:
            self.words = words
            if self.bar is not None:
                self._tell()

    def _show(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
        with self.lock:
            if self.shown:
                self.bar = Progress(TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn(), console=Console(stderr=True),
                                    transient=True)
                self.bar.start()
                self.task = self.bar.add_task("", total=len(self.names))
                self._tell()

    def _tell(self) -> None:
        done = self.names.index(self.words) if self.words in self.names else 0
        of = f"{self.words} ({done + 1} of {len(self.names)})" if self.words in self.names else self.words
        self.bar.update(self.task, description=of, completed=done)
