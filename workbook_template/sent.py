"""What was sent to markets and what came back, kept beside the workbook: Yard.xlsx -> the folder Yard.sent.

One small JSON file a sheet sent. It holds what the market saw of each row, and the values accepted from it so far:
with the workbook and the returned copy they make the three sides of the comparison. It lies beside the workbook and
not in it, so that sending changes no byte of the workbook, and so that a copy of the workbook taken elsewhere still
knows its rows by their dockets when the folder is not there.
"""
from __future__ import annotations

import datetime as dt
import json
import re
from dataclasses import asdict, dataclass, field
from pathlib import Path

from workbook_template.ports.swap import write_new

FORMAT = 1
STAMP = re.compile(r"\b([0-9a-f]{16})-([0-9a-f]{12})\b")
DOCKET = re.compile(r"^\s*(\d+)-([0-9a-f]{4}) (\S.*?)\s*$")


@dataclass
class Sent:
    """One sheet sent. rows: row key -> what the market saw; base: row key -> field -> value accepted last."""

    yard: str
    token: str
    send: int
    market: str
    day: str
    profile: str
    rows: dict[str, dict] = field(default_factory=dict)
    base: dict[str, dict] = field(default_factory=dict)
    added: list[dict] = field(default_factory=list)  # lines without a row key that came back, with the key given to them
    returns: list[dict] = field(default_factory=list)

    @property
    def stamp(self) -> str:
        """What the copy carries: the yard's own number and this sheet's."""
        return f"{self.yard}-{self.token}"

    def docket(self, key: str) -> str:
        """What marks the rows of Sales that came from a row of this sheet."""
        return f"{self.send}-{self.token[:4]} {key}"


def folder(workbook: Path) -> Path:
    """Where the sheets sent from a workbook are kept."""
    return workbook.with_name(f"{workbook.stem}.sent")


def file_of(workbook: Path, sent: Sent) -> Path:
    return folder(workbook) / f"sheet {sent.send:04d} {sent.token}.json"


def load_all(workbook: Path) -> list[Sent]:
    """Every sheet sent, in order; a file that cannot be read is passed over."""
    found = []
    for path in sorted(folder(workbook).glob("sheet *.json")):
        try:
            about = json.loads(path.read_text(encoding="utf-8"))
            about.pop("format", None)
            found.append(Sent(**about))
        except (OSError, ValueError, TypeError):
            continue
    return sorted(found, key=lambda sent: (sent.send, sent.token))


def save(workbook: Path, sent: Sent) -> Path:
    """Write or replace a sheet's file at once."""
    folder(workbook).mkdir(exist_ok=True)
    text = json.dumps({"format": FORMAT, **asdict(sent)}, indent=1, ensure_ascii=False, default=_plain)
    return write_new(file_of(workbook, sent), lambda path: path.write_text(text, encoding="utf-8"), overwrite=True)


def _plain(value):
    if isinstance(value, (dt.date, dt.datetime)):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} cannot be kept")
