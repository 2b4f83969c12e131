"""Files and texts that mean harm: refused or made harmless, with a sentence; and the memory they may take is bounded."""
from __future__ import annotations

import csv
import datetime as dt
import re
import shutil
import socket
import threading
import zipfile
from pathlib import Path

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


OLDER = Path(__file__).resolve().parent / "old_layouts" / "layout2.xlsx"


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


STEERING = "_x001B_[31mred_x001B_]0;title_x0007_ _xD800_ \u009b2J \u202eturned"  # texts that would steer a terminal or break an encoding


def no_formula(path, ours=()) -> None:
    """No sheet of the file holds a formula or a link but for those whose text begins as ours do."""
    with zipfile.ZipFile(path) as archive:
        for sheet in read_book(archive).sheets:
            xml = archive.read(sheet.part)
            assert b"<hyperlink " not in xml, sheet.name
            found = [xml[e.open_end:e.end].decode() for e in find_elements(xml, {"f"})]
            assert [text for text in found if not text.startswith(ours)] == [] if ours else found == [], (sheet.name, found)


def test_what_leaves_the_workbook_holds_no_formula(typed, tmp_path):
    """The copy for a market, the page and the words of a trace, the calendar."""
    from workbook_template import trace_page
    from workbook_template.calendar_file import export
    from workbook_template.partner import share
    from workbook_template.trace_command import pages_of
    path = Path(shutil.copy(typed[0], tmp_path / "yard.xlsx"))
    share(path, "@SUM(A1)", tmp_path / "copy.xlsx")
    no_formula(tmp_path / "copy.xlsx", ("IF(ISNUMBER(", "IF(OR(", "IF(SUM", "IF(AND("))
    held = {c.value for row in openpyxl.load_workbook(tmp_path / "copy.xlsx").active.iter_rows() for c in row}
    assert "Market sheet for @SUM(A1)" in held
    profile, pages = pages_of(path, "+1+1")
    trace_page.write(tmp_path / "page.xlsx", pages, profile)
    no_formula(tmp_path / "page.xlsx")
    assert not any(line.startswith(("=", "+", "-", "@", "\t")) for page in pages for line in trace_page.text(page).splitlines()
                   if line != page.about)
    export(path, tmp_path / "work.ics", dt.date(2026, 9, 1))
    assert all(re.match(rb"[A-Z-]+[;:]| ", line) for line in (tmp_path / "work.ics").read_bytes().split(b"\r\n")[:-1])


def test_rows_that_cannot_be_imported_hold_no_formula_and_come_back(small, tmp_path):
    """Headings, cells and reasons alike; the apostrophe that guards them goes when the list is imported in its turn."""
    from workbook_template.import_sheet import prepare, read_csv, write
    path, old = Path(shutil.copy(small, tmp_path / "yard.xlsx")), tmp_path / "old.csv"
    with old.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([["Date", "Log", "Picked", "=1+1", "+note"], ["2026-05-01", "A1", "1", "", ""],
                                    *[["2026-05-02", "A1", "plenty", text, f" {text}"] for text in FORMULAS]])
    done = write(prepare(path, old))
    assert done.left is not None
    rows = list(csv.reader(done.left.open(newline="", encoding="utf-8-sig")))
    assert len(rows) == len(FORMULAS) + 1
    assert [cell for row in rows for cell in row if cell.lstrip()[:1] in tuple("=+-@\uff1d") or cell[:1] in tuple("\t\r\n")] == []
    assert [row[3] for row in read_csv(done.left)[1:]] == [row[3] for row in read_csv(old)[2:]]


def test_texts_of_a_merge_hold_no_formula(small, tmp_path):
    """Both changed the same cells into formulas as text: the sheet Conflicts lists them as text."""
    from workbook_template.merge import merge
    from workbook_template.ports.type_in import Typed, type_in
    mine, theirs, out = (tmp_path / f"{name}.xlsx" for name in ("mine", "theirs", "out"))
    mine.write_bytes(type_in(small, [Typed("logs", 6, "note", "=1+1"), Typed("logs", 6, "source", "@SUM(A1)")]))
    theirs.write_bytes(type_in(small, [Typed("logs", 6, "note", "=2+2"), Typed("logs", 6, "source", "+2")], {"costs": [{"item": "=3+3"}]}))
    done = merge(mine, theirs, out, Path(shutil.copy(small, tmp_path / "base.xlsx")))
    with zipfile.ZipFile(out) as archive:
        book = read_book(archive)
        xml, old = archive.read(book.sheet(done.sheet).part), archive.read(book.sheet("Costs").part)
    with zipfile.ZipFile(small) as archive:
        costs = archive.read(read_book(archive).sheet("Costs").part)
    assert b"<f" not in xml and old.count(b"<f>") == costs.count(b"<f>")
    assert {"=1+1", "=2+2", "@SUM(A1)"} <= {c.value for row in openpyxl.load_workbook(out)[done.sheet].iter_rows() for c in row}


def test_a_market_steers_neither_workbook_nor_terminal(tmp_path):
    """A sheet that comes back with macros, links to files elsewhere and such texts: the texts arrive as text, nothing else does."""
    from click.testing import CliRunner
    from test_receive import Filled, raw
    from test_share import DAY, MARKET, a_yard

    from workbook_template.cli import cli
    from workbook_template.partner import share
    path, back = tmp_path / "yard.xlsx", tmp_path / "back.xlsx"
    build(path, a_yard(), rows=10, as_of=DAY)
    share(path, MARKET, tmp_path / "sent.xlsx", DAY)
    filled = Filled(tmp_path / "sent.xlsx").put("S00001", sold=1, remark="=HYPERLINK(\"http://example.org\",\"x\")")
    filled.put("S00003", sold=STEERING, remark=STEERING).put("N01", product="fresh", sold=1, lot="=cmd|' /C calc'!A0").save(back)
    change_part(back, "xl/vbaProject.bin", lambda _: b"\xd0\xcf\x11\xe0 invented")
    change_part(back, "xl/externalLinks/externalLink1.xml", lambda _: b"<externalLink/>")
    before = raw(path)
    done = CliRunner().invoke(cli, ["receive", str(path), str(back), "--today", "2026-11-20"])
    assert done.exit_code == 0 and "3 taken over" in done.output, done.output
    assert not set(map(ord, done.output)) & {*range(10), *range(11, 32), *range(127, 160), 0x202E, 0xD800}
    after = raw(path)
    assert set(after) == set(before)
    with zipfile.ZipFile(path) as archive:
        part = read_book(archive).sheet("Sales").part
    assert before[part].count(b"<f>") == after[part].count(b"<f>") and b"<hyperlink" not in after[part]
    assert '=HYPERLINK("http://example.org","x")' in read_cells(path, "Sales").values()
    refresh_file(path, progress=False)


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


def huge_name(path) -> None:
    """The name of a setting reaches over a whole sheet that has a cell in its last row: 17,000 million cells."""
    with zipfile.ZipFile(path) as archive:
        part = read_book(archive).sheet("Settings").part
    change_part(path, part, lambda xml: xml.replace(b"</sheetData>", b'<row r="1048576"><c r="A1048576"><v>1</v></c></row></sheetData>'))
    change_part(path, "xl/workbook.xml", lambda xml: re.sub(rb'(name="typed_wage">)[^<]*', rb"\1Settings!$A$1:$XFD$1048576", xml))


def outside_relation(path) -> None:
    """The list of sheets points to a file of the computer."""
    change_part(path, "xl/_rels/workbook.xml.rels", lambda xml: xml.replace(b"worksheets/sheet3.xml", b"../../../../../../etc/passwd"))


HARMS = (many_strings, many_cells, far_corner, entity_bomb, lying_directory, many_merges, zip_bomb, huge_name, outside_relation)
REFUSED_UNREAD = (many_strings, entity_bomb, lying_directory, zip_bomb)  # before anything of it is parsed
OWN_LAYOUT = (far_corner, entity_bomb, lying_directory, huge_name, outside_relation)


@pytest.fixture(scope="module")
def harmed(small, tmp_path_factory):
    """Each harmed file is made once; tests take copies."""
    made = {}

    def of(harm, base=small):
        if (harm, base) not in made:
            made[harm, base] = Path(shutil.copy(base, tmp_path_factory.mktemp(harm.__name__) / "harm.xlsx"))
            harm(made[harm, base])
        return made[harm, base]

    return of


def ends_in_a_sentence(server, folder, words, codes=(2, 3)) -> dict:
    """Run a command within bounded memory: a sentence that ends the work, and every file as it was."""
    before = {p: digest(p) for p in folder.rglob("*") if p.is_file()}
    end = server.run(args=[str(word) for word in words], memory=MEMORY)
    told = end["said"] + end["out"]
    assert end["code"] in codes and told.strip() and "Traceback" not in told and "MemoryError" not in told, (words, end)
    if end["code"]:
        assert {p: digest(p) for p in folder.rglob("*") if p.is_file()} == before, (words, end)
    return end


@pytest.mark.parametrize("harm, verb", [(harm, verb) for harm in HARMS for verb in ("receive", "merge", "import")
                                        if (harm, verb) != (many_cells, "import")])  # reading a million cells one by one takes long: see below
def test_what_someone_else_sent(server, small, harmed, tmp_path, harm, verb):
    own, theirs = Path(shutil.copy(small, tmp_path / "own.xlsx")), Path(shutil.copy(harmed(harm), tmp_path / "theirs.xlsx"))
    more = {"receive": [theirs], "merge": [theirs, "--out", tmp_path / "out.xlsx"], "import": ["--from", theirs, "--sheet", "Logs", "--yes"]}
    ends_in_a_sentence(server, tmp_path, [verb, own, *more[verb]], (0, 2) if harm is huge_name else (2, 3))


@pytest.mark.parametrize("harm", [far_corner, entity_bomb, lying_directory, huge_name, outside_relation])
def test_a_workbook_from_someone_else_as_ones_own(server, harmed, tmp_path, harm):
    path, code = Path(shutil.copy(harmed(harm), tmp_path / "own.xlsx")), (0, 2, 3) if harm is huge_name else (2, 3)
    ends_in_a_sentence(server, tmp_path, ["trace", path, "L1"])
    ends_in_a_sentence(server, tmp_path, ["share", path, "--market", "Square", "--out", tmp_path / "out.xlsx"])
    ends_in_a_sentence(server, tmp_path, ["close", path, "--to", "2026-01-31"])
    ends_in_a_sentence(server, tmp_path, ["calendar", path, "--out", tmp_path / "work.ics"], code)
    ends_in_a_sentence(server, tmp_path, ["receive", path, harmed(far_corner)])
    ends_in_a_sentence(server, tmp_path, ["extend", path, "--rows", "2"], code)


@pytest.mark.parametrize("harm", OWN_LAYOUT)
def test_an_older_workbook_from_someone_else(server, harmed, tmp_path, harm):
    path = Path(shutil.copy(harmed(harm, OLDER), tmp_path / "older.xlsx"))
    ends_in_a_sentence(server, tmp_path, ["upgrade", path], (0, 2) if harm is huge_name else (2, 3))


@pytest.mark.parametrize("harm", REFUSED_UNREAD)
def test_a_backup_that_means_harm(server, small, harmed, tmp_path, harm):
    path = Path(shutil.copy(small, tmp_path / "own.xlsx"))
    shutil.copy(harmed(harm), tmp_path / "own.backup.xlsx")
    ends_in_a_sentence(server, tmp_path, ["restore", path])


def test_a_sheet_of_too_many_cells_is_not_held(small, tmp_path, monkeypatch):
    from workbook_template.ports import reader
    monkeypatch.setattr(reader, "MOST_CELLS", 50)
    with pytest.raises(FileProblem, match="a sheet of more than 50 filled cells"):
        read_cells(small, "Lists")


def test_a_text_file_too_large_is_not_read(server, small, tmp_path):
    """A file of 5 GB that takes no room on the disk."""
    own, old = Path(shutil.copy(small, tmp_path / "own.xlsx")), tmp_path / "old.csv"
    with old.open("wb") as file:
        file.truncate(5_000_000_000)
    end = server.run(args=["import", str(own), "--from", str(old), "--yes"], memory=MEMORY)
    assert end["code"] == 2 and end["said"] == "old.csv is larger than 100 MB, more than this can read at once. Split it into several files.\n"
    old.unlink()
    old.write_bytes(b"Date,Log,Picked" + b"," * 3_000_000 + b"\n" + b"2026-05-01,A1,1" + b"," * 3_000_000)
    assert server.run(args=["import", str(own), "--from", str(old)], memory=MEMORY)["code"] == 2


@pytest.mark.parametrize("harm, said", [
    (many_strings, "texts"), (many_cells, "stray cell"), (far_corner, "the used area reaches XFD1048576"), (entity_bomb, "document type"),
    (lying_directory, "damaged"), (many_merges, "merged"), (zip_bomb, "times its size"),
], ids=lambda value: getattr(value, "__name__", None))
@pytest.mark.parametrize("verb", ["check", "refresh"])
def test_within_bounded_memory(server, harmed, tmp_path, harm, said, verb):
    """A sentence, not the end of the process, and the file as it was."""
    path = Path(shutil.copy(harmed(harm), tmp_path / "harm.xlsx"))
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
