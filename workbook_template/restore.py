"""boltbook restore: the last good backup takes the workbook's place, and the workbook as it is now is kept beside it."""
from __future__ import annotations

import datetime as dt
import shutil
import zipfile
from dataclasses import dataclass
from pathlib import Path

from workbook_template import schema
from workbook_template.ports.parts import read_book
from workbook_template.ports.preflight import FileProblem, check_file, damage_named
from workbook_template.ports.swap import FileInUse, SaveProblem, backup_path, beside, file_hash, free_name, lock_holder, write_new


@dataclass(frozen=True)
class Restored:
    """What a restore did. kept: where the file stood before, None where there was none; saved: when the backup was made."""

    path: Path
    backup: Path
    kept: Path | None
    saved: dt.datetime

    def sentence(self) -> str:
        kept = f" The file as it was before: {self.kept.name}." if self.kept else ""
        return f"{self.path.name} is again as it was in the backup of {moment(self.saved)}.{kept} The backup itself stays where it is."


def moment(when: dt.datetime) -> str:
    """A date and time in words.

    >>> moment(dt.datetime(2026, 3, 1, 9, 5))
    '1 Mar 2026, 09:05'
    """
    return f"{when.day} {when:%b %Y, %H:%M}"


def restore(path: Path, now: dt.datetime | None = None, step=lambda words: None) -> Restored:
    """Put the backup of a workbook in its place.

    The present file is first copied beside it under a dated name. Raises FileProblem where there is no backup or it is damaged,
    SaveProblem where the workbook is open or cannot be written, or is the same as the backup; then nothing was changed.
    """
    path = Path(path)
    backup = backup_path(path)
    if not backup.exists():
        raise FileProblem(f"There is no backup of {path.name}: {backup.name} is not beside it. A backup is made whenever a refresh or "
                          "another command writes the workbook. Nothing was changed.")
    step("Looking at the backup")
    whole(backup)
    holder = lock_holder(path)
    if holder is not None:
        raise FileInUse(f"{holder.sentence(path.name)} Close it there and try again. If no one has it open, delete {holder.lock_file.name}.")
    wanted, saved = file_hash(backup), dt.datetime.fromtimestamp(backup.stat().st_mtime)
    before = file_hash(path) if path.exists() else None
    if before == wanted:
        raise SaveProblem(f"{path.name} is the same as its backup of {moment(saved)}: there is nothing to restore.")
    kept = None
    if before is not None:
        step("Keeping the present file")
        kept = free_name(path, f"before restore {now or dt.datetime.now():%Y-%m-%d %H%M}")

    def check(copy: Path) -> None:
        _same(copy, wanted, backup)
        if before is not None:
            _same(path, before, path)

    with beside(path):
        if kept is not None:
            write_new(kept, lambda target: shutil.copyfile(path, target), lambda copy: _same(copy, before, path))
        step("Putting the backup in place")
        write_new(path, lambda target: shutil.copyfile(backup, target), check, overwrite=True)
    return Restored(path, backup, kept, saved)


def whole(path: Path) -> str:
    """Look whether a workbook of ours is whole, part by part; returns its profile. Raises FileProblem where it is not."""
    check_file(path)
    with damage_named(path), zipfile.ZipFile(path) as archive:
        broken = archive.testzip()
        names = {name: text.strip('="') for name, text in read_book(archive).names.items()} if broken is None else {}
    if broken is not None:
        raise FileProblem(f"{path.name} is damaged ({broken}): nothing was changed. Look for an older copy, in the folder of your backups or where "
                          "you last sent it.")
    profile = names.get("bb_profile")
    if profile not in ("us", "metric") or not names.get("bb_layout", "0").isdigit() or not 1 <= int(names["bb_layout"]) <= schema.VERSION:
        raise FileProblem(f"{path.name} is not a workbook made here: nothing was changed.")
    return profile


def _same(path: Path, wanted: str, whose: Path) -> None:
    if file_hash(path) != wanted:
        raise SaveProblem(f"{whose.name} was saved by someone else meanwhile, so it was left as it is. Try again.")
