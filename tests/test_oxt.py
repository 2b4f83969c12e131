"""The LibreOffice extension as a file: built from the registry alone, and able to run in an old Python."""
from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
import zipfile

import pytest

from calc import functions, tables, units
from calc.arguments import unit_of
from workbook_template.addin import declarations, kernel, menus, oxt

OOR = "{http://openoffice.org/2001/registry}"
PLAIN = ("", "number", "fraction", "fraction a year", "same weight", "same unit", "same temperature")  # said in words
each_function = pytest.mark.parametrize("function", functions.REGISTRY, ids=lambda function: function.name)


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    return oxt.build(tmp_path_factory.mktemp("oxt"))


@pytest.fixture(scope="module")
def inside(package):
    with zipfile.ZipFile(package) as archive:
        return {name: archive.read(name).decode("utf-8") for name in archive.namelist()}


@pytest.fixture(scope="module")
def unpacked(package, tmp_path_factory):
    folder = tmp_path_factory.mktemp("unpacked")
    with zipfile.ZipFile(package) as archive:
        archive.extractall(folder)
    return folder


def test_the_same_code_gives_the_same_bytes(package, tmp_path):
    assert oxt.build(tmp_path).read_bytes() == package.read_bytes()
    assert package.name == f"boltbook-{oxt.version()}.oxt"


def test_every_file_that_the_office_must_know_is_in_the_manifest(inside):
    manifest = ElementTree.fromstring(inside["META-INF/manifest.xml"])
    listed = {next(v for k, v in entry.attrib.items() if k.endswith("full-path")) for entry in manifest}
    told = {name for name in inside if not name.endswith(".py")}
    assert listed == told - {"META-INF/manifest.xml", "description.xml"}


def test_the_python_inside_is_standard_library_in_the_syntax_of_3_8(inside):
    mine, office = {kernel.NAME, oxt.RIDER}, {"uno", "unohelper", "com"}
    sources = {name: text for name, text in inside.items() if name.endswith(".py")}
    assert set(kernel.modules()) <= {name.rpartition("/")[2][:-3] for name in sources}
    for name, text in sources.items():
        tree = ast.parse(text, filename=name, feature_version=(3, 8))
        used = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
        used |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        tops = {module.partition(".")[0] for module in used}
        assert not tops - set(sys.stdlib_module_names) - mine - office, name
        assert kernel.NAME not in name or not tops & office, name


def test_the_kernel_is_calc_but_for_the_names_of_imports_and_the_reader_of_tables(inside):
    changed = {}
    for name in kernel.modules():
        ours = (kernel.HOME / f"{name}.py").read_text(encoding="utf-8").splitlines()
        theirs = inside[f"pythonpath/{kernel.NAME}/{name}.py"].splitlines()
        changed[name] = [line for line in ours if line not in set(theirs)]
    for name, lines in changed.items():
        if name != "tables":
            assert all(line.startswith("from calc") for line in lines), name
    assert len(changed["tables"]) == 5  # two imports, the folder, the reader's two lines


def test_an_import_written_another_way_is_refused():
    with pytest.raises(ValueError, match="from calc import"):
        kernel.renamed("import calc.wood\n")
    assert kernel.renamed("from calc.units import factor\n") == f"from {kernel.NAME}.units import factor\n"
    assert kernel.renamed("from calculus import limit\n") == "from calculus import limit\n"


def test_the_kernel_works_alone_and_reads_no_file(unpacked):
    script = (
        "import builtins, json, sys\n"
        f"sys.path[:] = [{str(unpacked / 'pythonpath')!r}] + sys.path\n"
        f"from {kernel.NAME} import functions, tables\n"
        "def refuse(*a, **k): raise AssertionError('a file was opened')\n"
        "builtins.open = refuse\n"
        "import io; io.open = refuse\n"
        "print(json.dumps([[functions.evaluate(f.name, *f.example[0]) for f in functions.REGISTRY],\n"
        "    [tables.rows(n) for n in ('figures', 'sources', 'units')],\n"
        "    sorted(m for m in sys.modules if m.partition('.')[0] in ('calc', 'csv', 'pathlib'))]))\n")
    command = [sys.executable, "-I", "-S", "-c", script]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    values, rows, foreign = json.loads(done.stdout)
    assert values == [functions.evaluate(f.name, *f.example[0]) for f in functions.REGISTRY]
    assert rows == [tables.rows(name) for name in ("figures", "sources", "units")]
    assert not foreign


def _nodes(element, *path):
    for name in path:
        element = next(node for node in element if node.get(OOR + "name") == name)
    return {node.get(OOR + "name"): node for node in element if node.tag == "node"}


def _props(element):
    return {prop.get(OOR + "name"): prop.findtext("value") for prop in element if prop.tag == "prop"}


@each_function
def test_each_function_is_declared_with_texts_units_and_sources(function, inside):
    root = ElementTree.fromstring(inside["CalcAddIns.xcu"])
    declared = _nodes(root, "AddInInfo", "bolt", "AddInFunctions")
    assert len(declared) == len(functions.REGISTRY)
    node = declared[declarations.method(function)]
    about = _props(node)
    assert about["DisplayName"] == about["CompatibilityName"] == function.dot_name
    assert f"bolt.{declarations.method(function)}".upper() == function.dot_name  # what Calc writes into files
    assert function.result[1:] in about["Description"] and function.caution in about["Description"]
    assert all(tables.source_words(key) in about["Description"] for key in function.sources)
    given = _nodes(node, "Parameters")
    assert list(given) == [declarations.parameter(arg) for arg in function.args]
    method = f" {declarations.method(function)}("
    line = next(row for row in inside["boltbook.idl"].splitlines() if method in row)
    assert re.findall(r"\[in\] any ([a-z]+)[,)]", line) == list(given)
    assert line.strip().startswith("sequence< sequence< any > >" if function.is_array else "any ")
    for arg, parameter in zip(function.args, given.values(), strict=True):
        words = _props(parameter)
        assert words["DisplayName"].replace(" ", "_") == arg.name
        assert arg.help[1:] in words["Description"]
        assert ("May be left out." in words["Description"]) == arg.optional
        for profile in (units.US, units.METRIC):
            unit = unit_of(arg.quantity, profile)
            assert unit in PLAIN or re.search(rf"\[(.* )?{re.escape(unit)}[],]", words["Description"])


def test_what_an_empty_cell_means_is_said_where_it_is_not_left_out():
    said = {(function.name, arg.name): declarations.empty_cell(arg) for function in functions.REGISTRY
            for arg in function.args if declarations.empty_cell(arg)}
    counts = "An empty cell counts as 0: to leave it out, put nothing between the semicolons."
    assert said == {
        ("BOLT_SPAWN", "spare"): counts, ("BOLT_SPAWN_WEIGHT", "spare"): counts, ("BOLT_WAX", "ends"): counts,
        ("BOLT_WAX_VOLUME", "melted_swell"): counts,
        ("BOLT_SPAWN_WEIGHT", "fill"): counts.replace("counts as 0", "is an error here"),
        ("BOLT_FIRST_FLUSH", "fruits_from"): counts, ("BOLT_FIRST_FLUSH", "fruits_to"): counts,
        ("BOLT_FIRST_FLUSH", "monthly_temperatures"): "A single empty cell counts as left out.",
        ("BOLT_PACKS", "pack_prices"): "A single empty cell counts as left out."}


def test_menu_and_toolbar_name_commands_of_one_handler(inside):
    root = ElementTree.fromstring(inside["Addons.xcu"])
    urls = [prop.findtext("value") for prop in root.iter("prop") if prop.get(OOR + "name") == "URL"]
    titles = [prop.findtext("value") for prop in root.iter("prop") if prop.get(OOR + "name") == "Title"]
    assert urls == [menus.PROTOCOL + command for _, command in (*menus.ENTRIES, menus.TOOLBAR)]
    assert titles == ["Boltbook", *(title for title, _ in menus.ENTRIES), menus.TOOLBAR[0]]
    assert f"<value>{menus.PROTOCOL}*</value>" in inside["ProtocolHandler.xcu"]
    listed = [node.get("name") for node in ElementTree.fromstring(inside["addin.components"]).iter()
              if node.tag.endswith("service")]
    assert listed == ["bolt", menus.HANDLER, "com.sun.star.frame.ProtocolHandler"]


def test_names_are_said_once_for_both_sides(inside):
    pairs = [node for node in ast.parse(inside["addin.py"]).body
             if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Tuple)]
    names = {name.id: value.value for node in pairs
             for name, value in zip(node.targets[0].elts, node.value.elts, strict=True)}
    assert names == {"SERVICE": declarations.SERVICE, "HANDLER": menus.HANDLER, "PROTOCOL": menus.PROTOCOL}
