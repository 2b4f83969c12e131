"""Writes a VBA project (vbaProject.bin) from the text of its modules, for the Refresh button of an .xlsm.

Only source text goes in, no compiled code: the version number 0xFFFF tells Excel to compile it when the file is opened.
Source: [MS-OVBA], the published file format; section numbers stand beside each part.
"""
from __future__ import annotations

import struct

from workbook_template.addin.compound import compound_file

NAME = "VBAProject"
PROJECT_ID = "{6B1C2F2E-5A0D-4C57-9E3B-0B0174B00C01}"
WORKBOOK_BASE, SHEET_BASE = "00020819-0000-0000-C000-000000000046", "00020820-0000-0000-C000-000000000046"
CHUNK = 4096
END = "\r\n"


def vba_project(sheets: list[str], modules: dict[str, str]) -> bytes:
    """A project with the document modules ThisWorkbook and `sheets` (code names) and the standard `modules` (name -> text).

    The text of a module is ASCII and begins with its Attribute VB_Name line.
    """
    documents = {"ThisWorkbook": _document("ThisWorkbook", WORKBOOK_BASE), **{name: _document(name, SHEET_BASE) for name in sheets}}
    texts = {name: text.replace("\r\n", "\n").replace("\n", END) for name, text in {**documents, **modules}.items()}
    storage = {name: compress(text.encode("ascii")) for name, text in texts.items()}
    storage["dir"] = compress(_dir(list(documents), list(modules)))
    storage["_VBA_PROJECT"] = struct.pack("<HHBH", 0x61CC, 0xFFFF, 0, 0)  # 2.3.4.1
    return compound_file({"VBA": storage, "PROJECT": _project(list(documents), list(modules)).encode("ascii"),
                          "PROJECTwm": b"".join(n.encode("ascii") + b"\0" + n.encode("utf-16-le") + b"\0\0" for n in texts) + b"\0\0"})


def _document(name: str, base: str) -> str:
    lines = [f'VB_Name = "{name}"', f'VB_Base = "0{{{base}}}"', "VB_GlobalNameSpace = False", "VB_Creatable = False",
             "VB_PredeclaredId = True", "VB_Exposed = True", "VB_TemplateDerived = False", "VB_Customizable = True"]
    return "".join(f"Attribute {line}\n" for line in lines)


def _project(documents: list[str], modules: list[str]) -> str:
    """The PROJECT stream (2.3.1): what the editor shows, not locked, no password."""
    lines = [f'ID="{PROJECT_ID}"', *[f"Document={name}/&H00000000" for name in documents], *[f"Module={name}" for name in modules],
             f'Name="{NAME}"', 'HelpContextID="0"', 'VersionCompatible32="393222000"',
             f'CMG="{encrypt(bytes(4), 0x21)}"', f'DPB="{encrypt(bytes(1), 0x42)}"', f'GC="{encrypt(bytes([0xFF]), 0x63)}"', "",
             "[Host Extender Info]", "&H00000001={3832D640-CF90-11CF-8E43-00A0C911005A};VBE;&H00000000", "",
             "[Workspace]", *[f"{name}=0, 0, 0, 0, C" for name in [*documents, *modules]]]
    return END.join(lines) + END


def encrypt(data: bytes, seed: int, project_id: str = PROJECT_ID) -> str:
    """Data encryption of the protection fields (2.4.3.2), as hex digits."""
    key = sum(project_id.encode("ascii")) & 0xFF
    out = [seed, seed ^ 2, seed ^ key]
    clear, last, before = key, seed ^ key, seed ^ 2
    filler = bytes((seed & 6) // 2)
    for byte in filler + struct.pack("<I", len(data)) + data:
        now = byte ^ ((before + clear) & 0xFF)
        out.append(now)
        clear, last, before = byte, now, last
    return bytes(out).hex().upper()


def _record(kind: int, data: bytes) -> bytes:
    return struct.pack("<HI", kind, len(data)) + data


def _both(kind: int, kind_unicode: int, text: str) -> bytes:
    """A text record in the code page and in Unicode."""
    return _record(kind, text.encode("ascii")) + _record(kind_unicode, text.encode("utf-16-le"))


def _dir(documents: list[str], modules: list[str]) -> bytes:
    """The dir stream (2.3.4.2): project, no references beyond the program's own, modules."""
    number = struct.Struct("<I").pack
    parts = [_record(0x01, number(1)), _record(0x02, number(0x409)), _record(0x14, number(0x409)), _record(0x03, struct.pack("<H", 1252)),
             _record(0x04, NAME.encode("ascii")), _both(0x05, 0x40, ""), _record(0x06, b"") + _record(0x3D, b""), _record(0x07, number(0)),
             _record(0x08, number(0)), struct.pack("<HIIH", 0x09, 4, 1, 1), _both(0x0C, 0x3C, ""),
             _record(0x0F, struct.pack("<H", len(documents) + len(modules))), _record(0x13, b"\xff\xff")]
    for name in [*documents, *modules]:
        parts += [_both(0x19, 0x47, name), _both(0x1A, 0x32, name), _both(0x1C, 0x48, ""), _record(0x31, number(0)),
                  _record(0x1E, number(0)), _record(0x2C, b"\xff\xff"), _record(0x22 if name in documents else 0x21, b""), _record(0x2B, b"")]
    return b"".join(parts) + _record(0x10, b"")


def compress(data: bytes) -> bytes:
    """The compressed container of a stream (2.4.1)."""
    return b"\x01" + b"".join(_chunk(data[at:at + CHUNK]) for at in range(0, len(data), CHUNK))


def _chunk(data: bytes) -> bytes:
    body, at = bytearray(), 0
    while at < len(data):
        flags, tokens = 0, bytearray()
        for bit in range(8):
            if at == len(data):
                break
            offset, length = _match(data, at)
            if length:
                flags |= 1 << bit
                shift = 16 - _offset_bits(at)
                tokens += struct.pack("<H", (offset - 1) << shift | length - 3)
                at += length
            else:
                tokens.append(data[at])
                at += 1
        body += bytes([flags]) + tokens
    if len(body) > CHUNK:  # does not get smaller: the chunk as it is, filled up
        return struct.pack("<H", 0x3000 | CHUNK - 1) + data.ljust(CHUNK, b"\0")
    return struct.pack("<H", 0xB000 | len(body) - 1) + bytes(body)


def _offset_bits(at: int) -> int:
    """How many of the 16 bits of a copy token hold the offset (2.4.1.3.19.1)."""
    return max((at - 1).bit_length(), 4)


def _match(data: bytes, at: int) -> tuple[int, int]:
    """The longest earlier piece that repeats here as (how far back, length); length 0 where none of 3 bytes does."""
    longest = (0xFFFF >> _offset_bits(at)) + 3 if at else 0
    best = (0, 0)
    length = 3
    while length <= min(longest, len(data) - at):
        found = data.rfind(data[at:at + length], 0, at + length - 1)
        if found < 0:
            break
        best, length = (at - found, length), length + 1
    return best
