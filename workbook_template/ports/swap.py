"""Replaces a grower's file safely: nobody else's change is lost, and a crash leaves one whole file.

Order: look for lock files, hash the file, read it, write the new one beside it, check it, hash the old one
again, keep a backup, swap. Any failure leaves the original as it was and no half-written file behind.
"""
from __future__ import annotations

import contextlib
import datetime as dt
import errno
import glob
import hashlib
import os
import shutil
import signal
import stat
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

HASH_STEP = 1 << 20
TEMPORARY = ".part"  # ending of a file being written
STALE_SECONDS = 3600
WORKBOOKS = (".xlsx", ".xlsm")
NOTES = ".json"  # what is kept beside a workbook belongs to it


class SaveProblem(Exception):
    """The file could not be replaced; it is as it was. The message says what to do."""


class FileInUse(SaveProblem):
    """A spreadsheet program has the file open."""


class ChangedMeanwhile(SaveProblem):
    """Someone saved the file while it was being worked on. `copy`: where the new version was put."""

    def __init__(self, message: str, copy: Path):
        super().__init__(message)
        self.copy = copy


@dataclass(frozen=True)
class LockHolder:
    """Who has a file open: program, name ("" if not told), since when, and the lock file itself."""

    program: str
    who: str
    since: dt.datetime
    lock_file: Path

    def sentence(self, name: str) -> str:
        by = f" by {self.who}" if self.who else ""
        since = f"{self.since:%H:%M on} {self.since.day} {self.since:%b %Y}"
        return f"{name} is open in {self.program}{by} since {since}."


def lock_holder(path) -> LockHolder | None:
    """Who has the file open, told by the lock file beside it; None if there is none.

    LibreOffice writes .~lock.NAME#, Excel ~$NAME. A lock file can outlive a program that was killed.
    """
    given = Path(path)
    for file in dict.fromkeys([given, _real(given)]):
        office, excel = file.with_name(f".~lock.{file.name}#"), file.with_name(f"~${file.name}")
        if office.exists():
            return LockHolder("LibreOffice", _office_name(office), _since(office), office)
        if excel.exists():
            return LockHolder("Excel", _excel_name(excel), _since(excel), excel)
    return None


def _since(lock: Path) -> dt.datetime:
    return dt.datetime.fromtimestamp(lock.stat().st_mtime)


def _office_name(lock: Path) -> str:
    """Its text is: name, login, host, date, profile."""
    with contextlib.suppress(OSError):
        fields = lock.read_text("utf-8", "replace").split(",")
        return next((text.strip() for text in fields[:3] if text.strip()), "")
    return ""


def _excel_name(lock: Path) -> str:
    """One byte with the length of the name, then the name."""
    with contextlib.suppress(OSError):
        content = lock.read_bytes()
        if content:
            return content[1:1 + content[0]].decode("latin-1", "replace").strip("\0 ")
    return ""


def file_hash(path) -> str:
    """SHA-256 of a file's content."""
    digest = hashlib.sha256()
    with open(path, "rb") as handle:
        while piece := handle.read(HASH_STEP):
            digest.update(piece)
    return digest.hexdigest()


def backup_path(path) -> Path:
    """Where the last good file is kept: Yard.xlsx -> Yard.backup.xlsx beside it."""
    path = Path(path)
    return path.with_name(f"{path.stem}.backup{path.suffix}")


def _real(path: Path) -> Path:
    """The file itself where the name given is a link to it."""
    return Path(os.path.realpath(path))


class Guard:
    """Holds a file's state from before it is read until it is replaced.

    Make it before reading; it raises FileInUse if the file is open in a program (unless force). `path` is
    the file itself, links resolved.
    """

    def __init__(self, path, force: bool = False):
        self.path = _real(Path(path))
        self.given, self.force = Path(path), force
        self._refuse_open()
        self.mode = stat.S_IMODE(self.path.stat().st_mode)
        self.hash = file_hash(self.path)

    def _refuse_open(self) -> None:
        holder = lock_holder(self.given)
        if holder is not None and not self.force:
            raise FileInUse(
                f"{holder.sentence(self.path.name)} Close it there and try again, or refresh from inside the "
                f"program. If no one has it open, delete {holder.lock_file.name} or use --force."
            )

    def save(self, write: Callable[[Path], object], check: Callable[[Path], object] | None = None,
             now: dt.datetime | None = None, then: Callable[[], object] | None = None) -> Path:
        """Let write(path) make the new file, check(path) read it back, then swap; returns the backup's path.

        then: what belongs to the swap and is done right after it; Ctrl-C waits for both.

        Raises ChangedMeanwhile (the new version stands beside the file under a dated name), FileInUse or
        SaveProblem; whatever write and check raise comes through. The original is then untouched.
        """
        if not os.access(self.path, os.W_OK) and self.path.exists():
            raise SaveProblem(f"{self.path.name} is write-protected. Take the protection off in its "
                              "properties, or write to another file.")
        with _temporary_beside(self.path) as temporary:
            write(temporary)
            if check is not None:
                check(temporary)
            _flush(temporary)
            os.chmod(temporary, self.mode)
            with _undisturbed():
                self._refuse_open()  # opened since the work began
                if not self.path.exists() or file_hash(self.path) != self.hash:
                    raise self._changed(temporary, now or dt.datetime.now())
                backup = self.keep_backup()
                _replace(temporary, self.path)
                written.append(self.path)
                if then is not None:
                    then()
        return backup

    def keep_backup(self) -> Path:
        """Copy the file as it was when the guard was made to backup_path; returns it. Raises SaveProblem."""
        backup = backup_path(self.path)
        if backup.is_dir():
            raise SaveProblem(f"The backup of {self.path.name} cannot be kept: a folder {backup.name} stands in its place. {self.path.name} was "
                              "left as it was; move that folder away.")
        with _temporary_beside(backup, f"the backup of {self.path.name}") as copy:
            shutil.copyfile(self.path, copy)
            _flush(copy)
            os.chmod(copy, self.mode)
            if file_hash(copy) != self.hash:
                raise SaveProblem(
                    f"{self.path.name} changed while it was being backed up. It was left as it is; try again."
                )
            _replace(copy, backup)
        return backup

    def _changed(self, temporary: Path, now: dt.datetime) -> ChangedMeanwhile:
        copy = free_name(self.path, f"refreshed {now:%Y-%m-%d %H%M}")
        _replace(temporary, copy)
        return ChangedMeanwhile(
            f"{self.path.name} was saved by someone else meanwhile, so it was left alone. The refreshed "
            f"version is in {copy.name} beside it; or run the refresh again.", copy,
        )


def free_name(path: Path, mark: str) -> Path:
    """A name beside path that is not taken: "Yard refreshed 2026-11-25 1402.xlsx"."""
    number = 1
    while True:
        more = "" if number == 1 else f" ({number})"
        candidate = path.with_name(f"{path.stem} {mark}{more}{path.suffix}")
        if not candidate.exists():
            return candidate
        number += 1


def write_new(path, write: Callable[[Path], object], check: Callable[[Path], object] | None = None,
              overwrite: bool = False) -> Path:
    """Let write(path) make a file that appears under its name only when whole; returns the path.

    Raises SaveProblem if a file of that name is there (unless overwrite), FileInUse if it is open.
    """
    target = _real(Path(path))
    if target.exists() and not overwrite:
        raise SaveProblem(f"There is a file {target.name} already. Give another name, or move it away.")
    holder = lock_holder(target)
    if holder is not None:
        raise FileInUse(f"{holder.sentence(target.name)} Close it there, or give another name.")
    with _temporary_beside(target) as temporary:
        write(temporary)
        if check is not None:
            check(temporary)
        _flush(temporary)
        os.chmod(temporary, stat.S_IMODE(target.stat().st_mode) if target.exists() else _usual_mode())
        with _undisturbed():
            if overwrite:
                _replace(temporary, target)
            else:
                _appear(temporary, target)
            written.append(target)
    return target


def _appear(temporary: Path, target: Path) -> None:
    """Give the file its name unless a file of that name has come meanwhile. Raises SaveProblem then."""
    taken = SaveProblem(f"A file {target.name} appeared meanwhile and was left alone. Give another name.")
    try:
        os.link(temporary, target)
    except FileExistsError:
        raise taken from None
    except (OSError, AttributeError):  # a file system without second names for a file
        if target.exists():
            raise taken from None
        _replace(temporary, target)
    else:
        temporary.unlink()
        _sync(target.parent)


written: list[Path] = []  # workbooks that this process has put in place, in order


@contextlib.contextmanager
def beside(path):
    """New files put in place inside this block go again where the block ends before path itself, which they belong to, is written."""
    begun = len(written)
    try:
        yield
    except BaseException:
        with _undisturbed():
            if _real(Path(path)) not in written[begun:]:
                for other in written[begun:]:
                    with contextlib.suppress(OSError):
                        other.unlink()
                del written[begun:]
        raise


def standing() -> str:
    """How the files stand when the work is stopped before its end."""
    files = [path for path in dict.fromkeys(written) if path.suffix != NOTES]
    if not files:
        return "No workbook was changed; each is whole and as it was."
    told = []
    for path in files:
        backup = backup_path(path)
        kept = f" The file as it was: {backup.name}." if path.suffix.lower() in WORKBOOKS and backup.exists() else ""
        told.append(f"{path.name} had been written by then and is whole.{kept}")
    return " ".join(told)


@contextlib.contextmanager
def _undisturbed():
    """Ctrl-C waits until the swap is over: the file is either as it was or wholly new, and it is known which.

    One inside another waits for the outer one.
    """
    asked = []
    try:
        before = signal.signal(signal.SIGINT, lambda *_: asked.append(True))
    except ValueError:  # not the main thread: no signal comes here
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before if before is not None else signal.default_int_handler)
    if asked and callable(before):
        before(signal.SIGINT, None)
    elif asked and before is not signal.SIG_IGN:
        raise KeyboardInterrupt


def _usual_mode() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _prefix(path: Path) -> str:
    return f".{path.stem[:40]}-"


def _sweep(path: Path) -> None:
    """Remove what a run that was killed more than an hour ago left half written."""
    for left in path.parent.glob(f"{glob.escape(_prefix(path))}*{glob.escape(path.suffix)}{TEMPORARY}"):
        with contextlib.suppress(OSError):
            if time.time() - left.stat().st_mtime > STALE_SECONDS:
                left.unlink()


@contextlib.contextmanager
def _temporary_beside(path: Path, what: str = ""):
    """A new file in the same folder, gone at the end unless it was moved; file errors become SaveProblem.

    what: the words for it in a message ("the new Yard.xlsx").
    """
    temporary = None
    try:
        _sweep(path)
        with _undisturbed():
            handle, name = tempfile.mkstemp(path.suffix + TEMPORARY, _prefix(path), path.parent)
            os.close(handle)
            temporary = Path(name)
        yield temporary
    except OSError as error:
        raise _as_problem(error, path, what) from error
    except Exception as error:
        cause = next((given for given in error.args if isinstance(given, OSError)), None)
        if cause is None:
            raise
        raise _as_problem(cause, path, what) from error  # a library that hands the system's word on in one of its own
    finally:
        if temporary is not None:
            with _undisturbed(), contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)


def _as_problem(error: OSError, path: Path, what: str) -> SaveProblem:
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return SaveProblem(f"There is no room on the disk for {what or 'the new ' + path.name}. Nothing was changed; make room and try again.")
    refused = isinstance(error, PermissionError)
    if error.errno == errno.EROFS or (refused and not os.access(path.parent, os.W_OK)):
        return SaveProblem(f"The folder of {path.name} cannot be written to. Copy the workbook to a folder "
                           "of your own.")
    if refused:
        return FileInUse(f"{path.name} is open in another program. Close it there and try again.")
    return SaveProblem(f"{path.name} could not be saved ({error.strerror or error}). It was left as it was.")


def _flush(path: Path) -> None:
    with open(path, "rb+") as handle:
        os.fsync(handle.fileno())


def _replace(source: Path, target: Path) -> None:
    os.replace(source, target)
    _sync(target.parent)


def _sync(path: Path) -> None:
    """See to it that a folder's names are on the disk."""
    if os.name == "posix":
        folder = os.open(path, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
