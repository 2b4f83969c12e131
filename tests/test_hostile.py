"""Files and texts that mean harm: refused or made harmless, with a sentence; and the memory they may take is bounded."""
from __future__ import annotations

import shutil
import socket
import threading
import zipfile

import openpyxl
import pytest
from fault_server import Server, digest
from rich_workbook import change_part
from torture_workbook import OFFICE, OWN, _relate, torture

from workbook_template import schema
from workbook_template.build import build
from workbook_template.ports.parts import read_book
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.reader import read_cells
from workbook_template.ports.xmledit import find_elements
from workbook_template.refresh import check_file, refresh_file
from workbook_template.yard import Yard

pytestmark = pytest.mark.filterwarnings("ignore::UserWarning")
# What spreadsheet programs take for a formula, a command or a link when it is pasted or opened as text.
FORMULAS = ("=1+1", "+1+1", "-1+1", "@SUM(A1)", "=HYPERLINK(\"http://example.org\",\"x\")", "=cmd|' /C calc'!A0", "=WEBSERVICE(\"http://example.org\")",
            "\t=1+1", "\n=1+1", "=1+1<v>", "{=1+1}", "&L&G", "＝1+1")


def typed_formulas() -> Yard:
    """A yard in which every text that can be typed is one of those."""
    def of(number: int) -> str:
        return FORMULAS[number % len(FORMULAS)]

    import datetime as dt
    day, strain = dt.date(2026, 5, 1), "oyster"
    logs = [{"log": of(i), "wood": "white oak", "strain": strain, "diameter": 4, "length": 40, "place": of(i), "source": of(i + 1), "note": of(i + 2)}
            for i in range(len(FORMULAS))]
    logs += [{"log": f"B{i}", "wood": of(i), "strain": of(i), "diameter": of(i), "length": of(i)} for i in range(len(FORMULAS))]
    events = [{"date": day, "event": "picked", "log": of(i), "amount": 1.0, "event_note": of(i), "grade": of(i), "lot": of(i), "who": of(i)}
              for i in range(len(FORMULAS))]
    events += [{"date": of(i), "event": of(i), "log": "B1", "amount": of(i)} for i in range(len(FORMULAS))]
    costs = [{"date": day, "item": of(i), "amount": 5.0, "category": of(i), "for_logs": of(i), "cost_note": of(i)} for i in range(len(FORMULAS))]
    sales = [{"date": day, "market": of(i), "kind": "delivered", "product": "fresh", "amount": 1.0, "price": 3.0, "lot": of(i), "docket": of(i)}
             for i in range(len(FORMULAS))]
    tables = {"logs": logs, "events": events, "costs": costs, "sales": sales, "places": [{"place": of(i)} for i in range(5)],
              "markets": [{"market": of(i), "terms": "bought outright"} for i in range(len(FORMULAS))]}
    return Yard("us", tables, {"yard": "=1+1", "currency": "@SUM(A1)"})


@pytest.fixture(scope="module")
def typed(tmp_path_factory):
    path = tmp_path_factory.mktemp("formulas") / "typed.xlsx"
    build(path, typed_formulas(), rows=20)
    sound = {}
    with zipfile.ZipFile(path) as archive:
        for sheet in read_book(archive).sheets:
            sound[sheet.name] = archive.read(sheet.part).count(b"<f>") + archive.read(sheet.part).count(b"<f ")
    refresh_file(path, progress=False, stamp="Refreshed for a test.")
    return path, sound


def test_no_text_becomes_a_formula(typed):
    """Result sheets hold no formula at all, and no sheet has gained one."""
    path, sound = typed
    with zipfile.ZipFile(path) as archive:
        for sheet in read_book(archive).sheets:
            xml = archive.read(sheet.part)
            found = xml.count(b"<f>") + xml.count(b"<f ")
            assert found == (0 if sheet.name in schema.result_sheets("us") else sound[sheet.name]), sheet.name
            assert b"<hyperlink " not in xml or sheet.name == "Lists"


def test_libreoffice_shows_the_texts_as_they_were_typed(typed, office):
    """A program that computes all that it takes for a formula finds none among them."""
    path, _ = typed
    shown = office.computed(path)
    each = {c.value for c in shown["Each log"]["B"]}
    assert {"+1+1", "-1+1", "@SUM(A1)", "=cmd|' /C calc'!A0"} <= each
    values = [c.value for name in schema.result_sheets("us") for row in shown[name].iter_rows() for c in row]
    assert "=1+1" in values and not any(isinstance(v, str) and v.startswith(("#NAME?", "#REF!", "Err:")) for v in values)


def test_links_and_macros_are_left_alone(tmp_path):
    """A workbook whose links point to a listening port here: nobody calls."""
    callers, listening = [], socket.create_server(("127.0.0.1", 0))
    listening.settimeout(0.2)
    done = threading.Event()

    def listen():
        while not done.is_set():
            try:
                callers.append(listening.accept())
            except TimeoutError:
                pass

    thread = threading.Thread(target=listen)
    thread.start()
    address = f"http://127.0.0.1:{listening.getsockname()[1]}"
    path = torture(tmp_path / "links.xlsm", Yard("us"), rows=20, macro=True)
    for part in ("xl/externalLinks/_rels/externalLink1.xml.rels", "xl/connections.xml"):
        change_part(path, part, lambda xml: xml.replace(b"file:///barn/scale.xlsx", f"{address}/scale.xlsx".encode())
                    .replace(b"https://example.org", address.encode()))
    with zipfile.ZipFile(path) as archive:
        sheet = read_book(archive).sheet(OWN).part
    _relate(path, f"xl/worksheets/_rels/{sheet.rpartition('/')[2]}.rels", f"{OFFICE}/hyperlink", f"{address}/x", "External")
    check_file(path)
    refresh_file(path, progress=False)
    done.set()
    thread.join()
    listening.close()
    assert callers == []


# ---- files made to exhaust the memory ----------------------------------------------------------------------------------------

MEMORY = 3_000_000_000  # bytes of address space, of which the libraries alone reserve half

@pytest.fixture(scope="module")
def small(tmp_path_factory):
    path = tmp_path_factory.mktemp("hostile") / "small.xlsx"
    build(path, Yard("us", {"logs": [{"log": "A1", "wood": "white oak", "strain": "oyster", "diameter": 4, "length": 40}]}), rows=10)
    return path


@pytest.fixture(scope="module")
def server(small):
    server = Server(small)
    yield server
    server.stop()


def logs_part(path) -> str:
    with zipfile.ZipFile(path) as archive:
        return read_book(archive).sheet("Logs").part


def stored(path, name: str, pieces) -> None:
    """Give a part new content, packed piece by piece."""
    with zipfile.ZipFile(path) as archive:
        parts = [(info, archive.read(info)) for info in archive.infolist() if info.filename != name]
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for info, content in parts:
            archive.writestr(info, content)
        with archive.open(name, "w", force_zip64=False) as part:
            for piece in pieces:
                part.write(piece)


def many_strings(path) -> None:
    """800 MB of shared strings that pack 100 to 1, below what is refused by the ratio alone."""
    import random
    chance = random.Random(1)
    text = "".join(chance.choice("abcdefgh") for _ in range(900)).encode()
    head = f'<sst xmlns="{MAIN}" count="1" uniqueCount="1">'.encode()
    piece = b"<si><t>" + text + b"a" * 30_000 + b"</t></si>"
    stored(path, "xl/sharedStrings.xml", [head, *[piece] * 27_000, b"</sst>"])


MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def many_cells(path) -> None:
    """1.7 million cells strewn over a rectangle of 42 million."""
    part = logs_part(path)
    with zipfile.ZipFile(path) as archive:
        xml = archive.read(part)

    def rows():
        head, tail = xml[:xml.index(b"</sheetData>")], xml[xml.index(b"</sheetData>"):]
        yield head
        letters = [a + b for a in ["", *"ABCDEFGHIJKLMNOPQRSTUVWXYZ"] for b in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"][:420]
        for first in range(1000, 101_000, 1250):
            yield "".join(f'<row r="{r}">' + "".join(f'<c r="{c}{r}"><v>1</v></c>' for c in letters) + "</row>"
                          for r in range(first, first + 50)).encode()
        yield tail

    stored(path, part, rows())


def far_corner(path) -> None:
    new = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
    change_part(path, logs_part(path), lambda xml: xml.replace(b"</sheetData>", new))


def entity_bomb(path) -> None:
    bomb = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">' + b"".join(
        f'<!ENTITY {chr(98 + i)} "{("&" + chr(97 + i) + ";") * 10}">'.encode() for i in range(8)) + b"]>"
    change_part(path, "xl/sharedStrings.xml", lambda xml: xml.replace(b"?>\n", b"?>\n" + bomb, 1))


def lying_directory(path) -> None:
    """A part whose directory entry says 1,000 bytes and that unpacks to 300 MB."""
    stored(path, logs_part(path), [bytes(1_000_000)] * 300)
    content = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as archive:
        info = archive.getinfo(logs_part(path))
        start = archive.start_dir
    size = info.file_size.to_bytes(4, "little")
    for at in (content.index(size, info.header_offset), content.index(size, start)):
        content[at:at + 4] = (1000).to_bytes(4, "little")
    path.write_bytes(content)


def many_merges(path) -> None:
    """Half a million merged ranges over all rows of one column, and a far last row."""
    with zipfile.ZipFile(path) as archive:
        xml = archive.read(logs_part(path))
    end = next(e.end for e in find_elements(xml, {"sheetData"}))
    merges = b'<mergeCells count="300000">' + b'<mergeCell ref="B6:B1048576"/>' * 300_000 + b"</mergeCells>"
    stored(path, logs_part(path), [xml[:end], merges, xml[end:]])


def zip_bomb(path) -> None:
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive, archive.open("xl/media/image9.bin", "w") as part:
        for _ in range(400):
            part.write(bytes(1_000_000))


@pytest.mark.parametrize("harm, said", [
    (many_strings, "texts"), (many_cells, "stray cell"), (far_corner, "the used area reaches XFD1048576"), (entity_bomb, "document type"),
    (lying_directory, "damaged"), (many_merges, "merged"), (zip_bomb, "times its size"),
], ids=lambda value: getattr(value, "__name__", None))
@pytest.mark.parametrize("verb", ["check", "refresh"])
def test_within_bounded_memory(server, small, tmp_path, harm, said, verb):
    """A sentence, not the end of the process, and the file as it was."""
    path = tmp_path / "harm.xlsx"
    shutil.copy(small, path)
    harm(path)
    before = digest(path)
    end = server.run(args=[verb, str(path)], memory=MEMORY)
    assert end["code"] == 2 and said in end["said"] and "Traceback" not in end["said"], end
    assert digest(path) == before and [p.name for p in tmp_path.iterdir()] == ["harm.xlsx"]


def test_a_huge_declared_dimension_alone_does_no_harm(server, small, tmp_path):
    path = tmp_path / "wide.xlsx"
    shutil.copy(small, path)

    def lie(xml):
        found = find_elements(xml, {"dimension"})[0]
        return xml[:found.start] + b'<dimension ref="A1:XFD1048576"/>' + xml[found.end:]

    change_part(path, logs_part(path), lie)
    end = server.run(args=["check", str(path)], memory=MEMORY)
    assert end["code"] == 0 and "logs 1 of 1" in end["out"], end


@pytest.mark.parametrize("name", ["../evil.xml", "/etc/evil.xml", "C:/evil.xml", "xl/../../evil.xml", "xl\\..\\..\\evil.xml"])
def test_path_tricks_are_refused_and_nothing_is_written(small, tmp_path, name):
    path = tmp_path / "deep" / "tricks.xlsx"
    path.parent.mkdir()
    shutil.copy(small, path)
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr(name, "<a/>")
    with pytest.raises(FileProblem, match="path out of the workbook"):
        refresh_file(path, progress=False)
    assert [p.name for p in tmp_path.rglob("*") if p.is_file()] == ["tricks.xlsx"]


def test_a_sheet_that_reads_another_workbook_is_told_by_its_stored_value(small, tmp_path):
    """A formula with a link in an input cell: its stored value is read, the link is not followed."""
    path = tmp_path / "linked.xlsx"
    shutil.copy(small, path)
    with zipfile.ZipFile(path) as archive:
        cell = next(e for e in find_elements(archive.read(logs_part(path)), {"c"}) if e.about["r"] == "D6")
    style = cell.about.get("s", "0")
    new = f'<c r="D6" s="{style}"><f>[1]Scale!A1</f><v>5</v></c>'.encode()
    change_part(path, logs_part(path), lambda xml: xml[:cell.start] + new + xml[cell.end:])
    assert refresh_file(path, progress=False).results.each_log["green_kg"].notna().all()
    assert openpyxl.load_workbook(path)["Logs"]["D6"].value == "=[1]Scale!A1" and read_cells(path, "Logs")["D6"] == 5.0
