"""The Boltbook menu, its entry in the standard toolbar, and the component that answers them."""
from __future__ import annotations

from workbook_template.addin.declarations import SERVICE, XCU, node, prop

PROTOCOL = "boltbook:"
HANDLER = "boltbook.Handler"
SHEET = "com.sun.star.sheet.SpreadsheetDocument"
ENTRIES = (
    ("Refresh", "refresh"),
    ("Check", "check"),
    ("New workbook (in, ft, lb)", "new-us"),
    ("New workbook (cm, m, kg)", "new-metric"),
    ("About and cautions", "about"),
)
TOOLBAR = ("Refresh Boltbook", "refresh")


def _entry(name: str, title: str, command: str) -> str:
    return node(name, prop("Title", title) + prop("URL", PROTOCOL + command, False) + _PLACE)


_PLACE = prop("Target", "_self", False) + prop("Context", SHEET, False)
_MERGE = (("MergeToolBar", "standardbar"), ("MergePoint", ".uno:Save"), ("MergeCommand", "AddAfter"),
          ("MergeFallback", "AddLast"), ("MergeContext", SHEET))


def addons() -> str:
    """The menu and the toolbar entry."""
    entries = "".join(_entry(f"m{i}", title, command) for i, (title, command) in enumerate(ENTRIES, start=1))
    menu = node("boltbook.menu", prop("Title", "Boltbook") + _PLACE + node("Submenu", entries, False))
    merge = "".join(prop(name, text, False) for name, text in _MERGE)
    bar = node("boltbook.toolbar", node("S1", merge + node("ToolBarItems", _entry("b1", *TOOLBAR), False)))
    body = node("OfficeMenuBar", menu, False) + node("OfficeToolbarMerging", bar, False)
    return XCU.format(name="Addons", body=node("AddonUI", body, False))


def protocol_handler() -> str:
    """Which component answers the menu's commands."""
    protocols = f'<prop oor:name="Protocols" oor:type="oor:string-list"><value>{PROTOCOL}*</value></prop>\n'
    return XCU.format(name="ProtocolHandler", body=node("HandlerSet", node(HANDLER, protocols), False))


def components() -> str:
    """The services of addin.py.

    com.sun.star.sheet.AddIn must not stand here: Calc would then ignore every name and text.
    """
    return f'''<?xml version="1.0" encoding="UTF-8"?>
<components xmlns="http://openoffice.org/2010/uno-components">
  <component loader="com.sun.star.loader.Python" uri="addin.py">
    <implementation name="{SERVICE}">
      <service name="{SERVICE}"/>
    </implementation>
    <implementation name="{HANDLER}">
      <service name="{HANDLER}"/>
      <service name="com.sun.star.frame.ProtocolHandler"/>
    </implementation>
  </component>
</components>
'''
