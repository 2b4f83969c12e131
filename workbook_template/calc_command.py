"""What `boltbook calc` prints: one worksheet function worked out, or the list of them."""
from __future__ import annotations

from dataclasses import dataclass

from calc import day_numbers, functions, tables


def cell(text: str):
    """A command-line argument as a cell: a number, text, TRUE or FALSE, blank, or a list written 100,500,1000."""
    if text == "":
        return None
    if text.casefold() in ("true", "false"):
        return text.casefold() == "true"
    try:
        return float(text)
    except ValueError:
        pass
    if "," in text:
        parts = [cell(part.strip()) for part in text.split(",")]
        if all(part is None or isinstance(part, float) for part in parts):
            return [parts]
    return text


@dataclass
class Answer:
    function: str
    value: object  # a number, or rows of cells
    units: list[tuple[str, str]]  # (column, unit); one pair for a single number
    sources: list[str]
    caution: str
    is_array: bool

    def shown(self):
        """The value with day numbers written out as dates: 2026-09-01."""
        dated = [i for i, (_, unit) in enumerate(self.units) if unit == "date"]
        if not (self.is_array and dated):
            return self.value
        return [[day_numbers.serial_day(c).isoformat() if i in dated else c for i, c in enumerate(row)] for row in self.value]

    def as_dict(self) -> dict:
        unit = [unit for _, unit in self.units] if self.is_array else self.units[0][1]
        return {"function": self.function, "value": self.shown(), "unit": unit, "sources": self.sources, "caution": self.caution}

    def text(self) -> str:
        lines = []
        if self.is_array:
            heads = [f"{title} ({unit})" if unit and unit != title else title for title, unit in self.units]
            width = max(len(row) for row in self.value) if self.value else len(heads)
            if width > len(heads):  # the first column stands for several
                heads = [heads[0]] * (width - len(heads) + 1) + heads[1:]
            rows = [[_plain(c) for c in row] for row in self.shown()]
            widths = [max(len(heads[i]), *(len(r[i]) for r in rows)) if rows else len(heads[i]) for i in range(width)]
            lines.append("  ".join(h.rjust(w) for h, w in zip(heads, widths, strict=True)))
            lines += ["  ".join(c.rjust(w) for c, w in zip(row, widths, strict=True)) for row in rows]
        else:
            unit = self.units[0][1]
            lines.append(f"{_plain(self.value)} {unit}".rstrip())
        lines.append("Source: " + "; ".join(self.sources))
        if self.caution:
            lines.append("Take care: " + self.caution)
        return "\n".join(lines)


def _plain(value) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.6g}" if abs(value) < 1e6 else f"{value:,.2f}"
    return str(value)


def run(name: str, arguments: tuple[str, ...], profile: str) -> Answer:
    """Work a function out. Raises ValueError (UnknownName, BadArgument) with one sentence."""
    function = functions.find(name)
    value = functions.evaluate(name, *[cell(text) for text in arguments], units=profile)
    about = functions.describe(function, profile)
    return Answer(function.name, value, [(str(t), str(u or "")) for t, u in about["result_units"]],
                  [tables.source_words(key) for key in function.sources], function.caution, function.is_array)


def list_functions(profile: str) -> str:
    """Every function with one line each."""
    lines = []
    for function in functions.REGISTRY:
        about = functions.describe(function, profile)
        units = ", ".join(dict.fromkeys(str(u) for _, u in about["result_units"] if u))
        lines.append(f"{about['signature']}\n    {function.result}{f' ({units})' if units else ''}")
    return "\n".join(lines)
