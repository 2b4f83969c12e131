"""Real processes that refresh a real workbook in a moment, to be killed, starved and disturbed.

Starting Python and its libraries takes longer than a small refresh. So one process does that, refreshes a workbook once, and
then forks a child for every job: the child is a process of its own that runs the command `boltbook` as typed, and can be killed
by the system like any other. What it says on its error output is what a grower would read.

A job is a dict: args (words after boltbook), and if wished user (a number: run as that user), fsize (no file may grow beyond these
bytes), disk (run on a disk of its own of that many bytes that holds a copy of the workbook), read_only (that disk takes no more
writing), clock (seconds to add to the clock), hold (a step at which the child waits until told to go on), memory (bytes of
address space).
"""
from __future__ import annotations

import contextlib
import ctypes
import datetime as dt
import importlib
import io
import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
NOW = dt.datetime(2026, 11, 15, 9, 0)  # every child's clock stands here, so that the same refresh gives the same bytes
NEW_NAMESPACE, READ_ONLY, REMOUNT, PRIVATE = 0x00020000, 1, 32, 1 << 18 | 1 << 14


# ---- the test's side ---------------------------------------------------------------------------------------------------------

class Server:
    """Starts the process that forks; `start(job)` gives a running child."""

    def __init__(self, warm_up: Path, **environment: str):
        paths = {**os.environ, "PYTHONPATH": os.pathsep.join([str(HOME), str(HOME / "tests")]), **environment}
        self.process = subprocess.Popen([sys.executable, str(Path(__file__)), str(warm_up)], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                                        stderr=subprocess.DEVNULL, text=True, env=paths)
        assert self.read() == {"ready": True}

    def read(self) -> dict:
        return json.loads(self.process.stdout.readline())

    def write(self, message: dict) -> None:
        self.process.stdin.write(json.dumps(message) + "\n")
        self.process.stdin.flush()

    def start(self, **job) -> Child:
        self.write(job)
        return Child(self, self.read()["pid"])

    def run(self, **job) -> dict:
        """What became of a job that is left alone: code, said (error output), out, and what its own disk holds (files)."""
        return self.start(**job).end()

    def stop(self) -> None:
        self.process.stdin.close()
        self.process.wait(30)


class Child:
    def __init__(self, server: Server, pid: int):
        self.server, self.pid, self.steps = server, pid, []

    def until(self, step: str) -> None:
        """Wait until the child says that this step begins (or that it has ended)."""
        while not (self.steps and (self.steps[-1].get("step") == step or "code" in self.steps[-1])):
            self.steps.append(self.server.read())

    def go(self) -> None:
        self.server.write({"go": True})

    def kill(self, number: int = signal.SIGKILL) -> None:
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, number)

    def end(self) -> dict:
        while not (self.steps and "code" in self.steps[-1]):
            self.steps.append(self.server.read())
        return self.steps[-1]


# ---- the process that forks --------------------------------------------------------------------------------------------------

def serve(warm_up: str) -> None:
    from workbook_template import cli, refresh
    for name in cli.cli.list_commands(None):  # what a command loads when it is called is loaded once, for all children
        cli.cli.get_command(None, name)
    for name in ("calendar_file", "close", "extend", "import_sheet", "merge", "partner", "receive", "restore", "trace_page", "upgrade"):
        importlib.import_module(f"workbook_template.{name}")
    importlib.import_module("icalendar")
    spare = Path(warm_up).with_name("warm up.xlsx")
    shutil.copy(warm_up, spare)
    refresh.refresh_file(spare, progress=False)
    for left in (spare, spare.with_name("warm up.backup.xlsx")):
        left.unlink()
    tell({"ready": True})
    while line := sys.stdin.readline():
        job = json.loads(line)
        if "go" in job:
            continue  # the child it was for has ended
        results, write_end = os.pipe()
        pid = os.fork()
        if pid == 0:
            os.close(results)
            child(job, write_end)
        os.close(write_end)
        tell({"pid": pid})
        last = forward(results)
        _, status = os.waitpid(pid, 0)
        tell(last or {"code": -os.WTERMSIG(status) if os.WIFSIGNALED(status) else os.WEXITSTATUS(status), "said": "", "out": ""})


def forward(results: int) -> dict | None:
    """Hand on what a child says as it says it; its last words are kept until it is gone."""
    with os.fdopen(results) as lines:
        for line in lines:
            message = json.loads(line)
            if "code" in message:
                return message
            tell(message)
    return None


def tell(message: dict) -> None:
    sys.stdout.write(json.dumps(message) + "\n")
    sys.stdout.flush()


def child(job: dict, results: int) -> None:
    """Runs the command and ends the process, whatever happens."""
    said, out = io.StringIO(), io.StringIO()
    code, files = 70, None

    def announce(message: dict) -> None:
        os.write(results, (json.dumps(message) + "\n").encode())

    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        folder = prepare(job)
        watch(job, announce)
        with contextlib.redirect_stderr(said), contextlib.redirect_stdout(out):
            code = command(job["args"])
        if folder:
            files = {p.name: digest(p) for p in sorted(folder.iterdir())}
    except BaseException as error:  # must reach the test, whatever it is
        import traceback
        said.write("".join(traceback.format_exception(error)))
    finally:
        announce({"code": code, "said": said.getvalue(), "out": out.getvalue(), "files": files})
        os._exit(0)


def command(args: list[str]) -> int:
    from workbook_template.cli import cli
    try:
        cli.main(args=args, prog_name="boltbook")
    except SystemExit as end:
        return end.code or 0
    return 0


def prepare(job: dict) -> Path | None:
    """Put the child into its world; returns the folder on its own disk, if it has one."""
    folder = None
    if "disk" in job:
        folder = own_disk(job)
    if "fsize" in job:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (job["fsize"], job["fsize"]))
    if "memory" in job:
        resource.setrlimit(resource.RLIMIT_AS, (job["memory"], job["memory"]))
    if "user" in job:
        os.setgid(job["user"])
        os.setuid(job["user"])
    return folder


def own_disk(job: dict) -> Path:
    """Mount a small disk that only this process sees, with a copy of the workbook; the args then name that copy."""
    system, workbook = ctypes.CDLL(None, use_errno=True), Path(job["args"][1])
    folder = workbook.parent / "disk"
    folder.mkdir(exist_ok=True)

    def must(result: int) -> None:
        if result:
            raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()))

    uid, gid = os.getuid(), os.getgid()
    must(system.unshare(NEW_NAMESPACE | (0 if uid == 0 else 0x10000000)))
    if uid:
        Path("/proc/self/setgroups").write_text("deny")
        Path("/proc/self/uid_map").write_text(f"0 {uid} 1")
        Path("/proc/self/gid_map").write_text(f"0 {gid} 1")
    must(system.mount(None, b"/", None, PRIVATE, None))
    must(system.mount(b"none", os.fsencode(folder), b"tmpfs", 0, f"size={job['disk']}".encode()))
    shutil.copy(workbook, folder / workbook.name)
    if job.get("read_only"):
        must(system.mount(None, os.fsencode(folder), None, REMOUNT | READ_ONLY, None))
    job["args"][1] = str(folder / workbook.name)
    return folder


def watch(job: dict, announce) -> None:
    """Have the steps of the work announced, and the clock set."""
    from workbook_template import progress, refresh
    from workbook_template.ports import swap

    class Announced(progress.Steps):
        def _step(self, words: str) -> None:
            announce({"step": words})
            if words == job.get("hold"):
                sys.stdin.readline()

    swap.written.clear()  # what the server itself has written is none of the child's
    refresh.Steps = progress.Steps = Announced
    moved, true = dt.timedelta(seconds=job.get("clock", 0)), time.time

    class Clock(dt.datetime):
        @classmethod
        def now(cls, tz=None):
            return NOW + moved

    clock = type(sys)("datetime")
    clock.__dict__.update({**dt.__dict__, "datetime": Clock})
    swap.dt = refresh.dt = clock
    swap.time = type(sys)("time")
    swap.time.time = lambda: true() + moved.total_seconds()


def digest(path: Path) -> str:
    import hashlib
    return hashlib.sha256(path.read_bytes()).hexdigest()


if __name__ == "__main__":
    serve(sys.argv[1])
