"""Writes a compound file (version 3): the container of a VBA project. Source: [MS-CFB], the published file format."""
from __future__ import annotations

import struct

SECTOR, MINI, CUTOFF = 512, 64, 4096
END, FREE, FAT_SECTOR, NONE = 0xFFFFFFFE, 0xFFFFFFFF, 0xFFFFFFFD, 0xFFFFFFFF
STORAGE, STREAM, ROOT = 1, 2, 5
HEADER_FATS = 109  # sectors of the allocation table that the header itself can name


def compound_file(tree: dict) -> bytes:
    """A compound file of storages (dictionaries) and streams (bytes) by name.

    Raises ValueError above about 7 MB, which would need a longer list of allocation tables.
    """
    entries: list[dict] = []
    _enter(entries, "Root Entry", tree, ROOT)
    mini_table, mini_stream = _place_small(entries)
    sectors = _Sectors()
    for entry in entries[1:]:
        if len(entry["data"]) >= CUTOFF:
            entry["start"] = sectors.add(entry["data"])
    entries[0]["start"], entries[0]["size"] = (sectors.add(mini_stream) if mini_stream else END), len(mini_stream)
    mini_fat = sectors.add(_packed(mini_table, FREE)) if mini_table else END
    unused = struct.pack("<64xHBBIII16xIQQIQ", 0, 0, 0, NONE, NONE, NONE, 0, 0, 0, 0, 0)
    directory = b"".join(map(_entry, entries))
    first = sectors.add(directory + unused * (-len(entries) % (SECTOR // len(unused))))
    fats = sectors.close()
    head = struct.pack("<8s16xHHHHH6xIIIIIIIII", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", 0x3E, 3, 0xFFFE, 9, 6, 0, len(fats), first, 0, CUTOFF,
                       mini_fat, -(-len(mini_table) * 4 // SECTOR), END, 0)
    return head + struct.pack(f"<{HEADER_FATS}I", *fats, *[FREE] * (HEADER_FATS - len(fats))) + sectors.content()


class _Sectors:
    """Sectors of the file in order, with the chain each belongs to."""

    def __init__(self):
        self.parts, self.table = [], []

    def add(self, data: bytes) -> int:
        """Append data as a chain; returns its first sector."""
        first, count = len(self.table), -(-len(data) // SECTOR)
        self.table += [*range(first + 1, first + count), END]
        self.parts.append(data.ljust(count * SECTOR, b"\0"))
        return first

    def close(self) -> list[int]:
        """Append the allocation table itself; returns its sectors."""
        count = 0
        while (len(self.table) + count) * 4 > count * SECTOR:
            count += 1
        if count > HEADER_FATS:
            raise ValueError("too large for a compound file with one list of allocation tables")
        fats = list(range(len(self.table), len(self.table) + count))
        self.table += [FAT_SECTOR] * count
        self.parts.append(_packed(self.table, FREE))
        return fats

    def content(self) -> bytes:
        return b"".join(self.parts)


def _packed(numbers: list[int], filler: int) -> bytes:
    """Numbers as whole sectors."""
    return struct.pack(f"<{len(numbers)}I", *numbers) + struct.pack("<I", filler) * (-len(numbers) % (SECTOR // 4))


def _enter(entries: list[dict], name: str, content, kind: int) -> int:
    """Add an entry and, for a storage, all below it; returns its place in the directory."""
    data = content if isinstance(content, bytes) else b""
    entry = {"name": name, "kind": kind, "data": data, "size": len(data), "start": END if kind != STORAGE else 0,
             "left": NONE, "right": NONE, "child": NONE}
    place = len(entries)
    entries.append(entry)
    if kind != STREAM:
        ordered = sorted(content.items(), key=lambda item: (len(item[0]), item[0].upper()))
        places = [_enter(entries, below, inside, STORAGE if isinstance(inside, dict) else STREAM) for below, inside in ordered]
        entry["child"] = _tree(entries, places)
    return place


def _tree(entries: list[dict], places: list[int]) -> int:
    """Link sorted siblings as a balanced search tree; returns its top."""
    if not places:
        return NONE
    middle = len(places) // 2
    entries[places[middle]]["left"] = _tree(entries, places[:middle])
    entries[places[middle]]["right"] = _tree(entries, places[middle + 1:])
    return places[middle]


def _place_small(entries: list[dict]) -> tuple[list[int], bytes]:
    """Streams below the cutoff share one stream of small sectors; returns its table and content."""
    table: list[int] = []
    parts = []
    for entry in entries:
        if 0 < len(entry["data"]) < CUTOFF:
            entry["start"], count = len(table), -(-len(entry["data"]) // MINI)
            table += [*range(entry["start"] + 1, entry["start"] + count), END]
            parts.append(entry["data"].ljust(count * MINI, b"\0"))
    return table, b"".join(parts)


def _entry(entry: dict) -> bytes:
    """A directory entry; every node is black, as the format allows."""
    name = entry["name"].encode("utf-16-le")
    return struct.pack("<64sHBBIII16xIQQIQ", name, len(name) + 2, entry["kind"], 1, entry["left"], entry["right"], entry["child"],
                       0, 0, 0, entry["start"], entry["size"])
