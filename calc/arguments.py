"""What a worksheet cell hands to a function -> numbers in SI, or one sentence on what is wrong.

Used by the registry in functions.py. A cell may be blank, a number, text, true or false, a date or an error;
a range is a list of rows. Numbers written as text are refused: in a cell they are the commonest hidden
mistake.
"""
from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from numbers import Real

from calc import day_numbers, tables, units

VALUE, NUM, NOT_FOUND = "#VALUE!", "#NUM!", "#N/A"


@dataclass(frozen=True)
class Arg:
    """One argument of a worksheet function.

    quantity: a key of units.PROFILES (converted to SI), a pair of units (us, metric; taken as typed) or one
    unit. kind: number, size (a number where 0 too means left out), list, text, date, yes_no or units. default: a
    value, a figure id, or a pair of either (us, metric); None: nothing. low and high bound the typed value;
    above refuses low itself, below refuses high itself. choices: the words a text may be.
    """

    name: str
    help: str = ""
    quantity: object = ""
    optional: bool = False
    default: object = None
    kind: str = "number"
    low: object = 0.0
    high: object = None
    above: bool = False
    below: bool = False
    choices: tuple = ()


class BadArgument(ValueError):
    """A worksheet argument that cannot be used.

    argument: its name; found: what the cell holds; needed: what it must be; do: what to type; host_error:
    the error value the spreadsheet shows.
    """

    def __init__(self, argument, found, needed, do, host_error=VALUE):
        self.argument, self.found, self.needed, self.do = argument, found, needed, do
        self.host_error = host_error
        super().__init__("{}: {}. Needed: {}. {}".format(argument, found, needed, do))


def pick(value, profile):
    """The member of a pair that belongs to a profile; anything else is returned as it is."""
    return value[profile == units.METRIC] if isinstance(value, tuple) else value


def unit_of(quantity, profile):
    """The unit a quantity is typed and shown in: "diameter" under us -> "in", ("lb", "kg") -> "lb"."""
    return units.PROFILES[profile].get(quantity, pick(quantity, profile))


def factor_of(quantity, profile):
    """SI per typed unit; 1 for quantities that are taken as typed."""
    return units.factor(quantity, profile) if quantity in units.PROFILES[profile] else 1.0


def default_of(arg, profile):
    """The default of an argument, in the unit it is typed in; None when it has none."""
    default = pick(arg.default, profile)
    if isinstance(default, str) and default in tables.figures():
        return tables.figure(default).typical
    return default


def is_blank(cell):
    """Whether a cell holds nothing: empty, or only spaces."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def single(cell):
    """A one-cell range as its cell; anything else as it is."""
    while isinstance(cell, (list, tuple)) and len(cell) == 1:
        cell = cell[0]
    return cell


def _shown(cell):
    return "\"{}\"".format(cell) if isinstance(cell, str) else str(cell)


_WORDS = {"fraction": "a share such as 0.25", "fraction a year": "a yearly rate such as 0.05",
          "money": "an amount of money", "same weight": "a weight", "same unit": "a number",
          "same temperature": "a temperature", "months": "a number of months"}


def _needed(arg, profile):
    """What an argument must be, in words."""
    unit = unit_of(arg.quantity, profile)
    words = _WORDS.get(unit, "a number ({})".format(unit) if unit else "a number")
    bounds = []
    if arg.low is not None:
        bounds.append("{} {:g}".format("above" if arg.above else "not below", arg.low))
    if arg.high is not None:
        bounds.append("{} {:g}".format("below" if arg.below else "at most", arg.high))
    return ", ".join([words] + [" and ".join(bounds)] * bool(bounds))


def _looks_like_a_number(text):
    try:
        float(text.strip().replace(",", "."))
    except ValueError:
        return False
    return True


def number(arg, cell, profile):
    """A cell as a float in the typed unit. Raises BadArgument for anything but a number in range."""
    needed = _needed(arg, profile)
    if isinstance(cell, (list, tuple)):
        raise BadArgument(arg.name, "a range of cells", needed, "Point to one cell.")
    if isinstance(cell, str):
        if cell.startswith("#"):
            raise BadArgument(arg.name, "the error {}".format(cell), needed, "Mend that cell first.")
        if _looks_like_a_number(cell):
            raise BadArgument(arg.name, "{} is text".format(_shown(cell)), needed,
                              "Type it again as a number, without quotes or an apostrophe.")
        share = cell.strip()[:-1].strip() if cell.strip().endswith("%") else ""
        do = "Type {:g}.".format(float(share.replace(",", ".")) / 100) if _looks_like_a_number(share) else "Type the number alone."
        raise BadArgument(arg.name, "{} is text".format(_shown(cell)), needed, do)
    if isinstance(cell, bool) or not isinstance(cell, Real):
        raise BadArgument(arg.name, "found {}".format(cell), needed, "Type a number.")
    value = float(cell)
    bounds = (not math.isfinite(value),
              arg.low is not None and (value < arg.low or (arg.above and value <= arg.low)),
              arg.high is not None and (value > arg.high or (arg.below and value >= arg.high)))
    if any(bounds):
        raise BadArgument(arg.name, "found {:g}".format(value), needed, "Check the number and its unit.", NUM)
    return value


def date(arg, cell):
    """A cell as a datetime.date: a date cell, its day number, or a text written YYYY-MM-DD. Raises BadArgument."""
    needed = "a date"
    if isinstance(cell, dt.datetime):
        return cell.date()
    if isinstance(cell, dt.date):
        return cell
    if isinstance(cell, str) and cell.startswith("#"):
        raise BadArgument(arg.name, "the error {}".format(cell), needed, "Mend that cell first.")
    if isinstance(cell, str):
        try:
            return dt.datetime.strptime(cell.strip(), "%Y-%m-%d").date()
        except ValueError:
            raise BadArgument(arg.name, "{} is text".format(_shown(cell)), needed,
                              "Type it again as a date, or write it year first: 2026-05-01.") from None
    if isinstance(cell, bool) or not isinstance(cell, Real):
        raise BadArgument(arg.name, "found {}".format("a range of cells" if isinstance(cell, (list, tuple)) else cell), needed,
                          "Point to one cell with a date.")
    found = day_numbers.serial_day(cell) if math.isfinite(cell) else None
    if found is None:
        raise BadArgument(arg.name, "{:g} is no date of our time".format(cell), needed, "Check that cell.", NUM)
    return found


def _flat(cell):
    if isinstance(cell, (list, tuple)):
        return [item for row in cell for item in _flat(row)]
    return [cell]


def numbers(arg, cell, profile):
    """A range as a list of floats, None for a blank cell; blank cells at the end are dropped."""
    found = [None if is_blank(item) else number(arg, item, profile) for item in _flat(cell)]
    while found and found[-1] is None:
        found.pop()
    return found


def _choice(arg, cell, choices):
    if isinstance(cell, str) and cell.strip().lower() in choices:
        return cell.strip().lower()
    raise BadArgument(arg.name, "found {}".format(_shown(cell)), tables.either(choices),
                      "Type one of these words.", VALUE)


def yes_no(arg, cell):
    """A cell as True or False: TRUE and FALSE, 1 and 0, yes and no."""
    words = {"yes": True, "true": True, "no": False, "false": False}
    if isinstance(cell, bool):
        return cell
    if isinstance(cell, Real) and cell in (0, 1):
        return bool(cell)
    if isinstance(cell, str) and cell.strip().lower() in words:
        return words[cell.strip().lower()]
    raise BadArgument(arg.name, "found {}".format(_shown(cell)), "TRUE or FALSE", "Type TRUE or FALSE.")


def profile_of(cell):
    """The unit profile a cell names; blank: us. Raises BadArgument."""
    arg = Arg("units", choices=(units.US, units.METRIC))
    return units.US if is_blank(cell) else _choice(arg, single(cell), arg.choices)


def coerce(arg, cell, profile):
    """One cell as the value a calculation takes: SI float, list, text, date or flag.

    Left out, it is the default of the argument, or None. Raises BadArgument.
    """
    cell = cell if arg.kind == "list" else single(cell)
    zero = arg.kind == "size" and isinstance(cell, Real) and not isinstance(cell, bool) and cell == 0
    if is_blank(cell) or (arg.optional and zero):
        if not arg.optional:
            needed = _needed(arg, profile) if arg.kind in ("number", "size") else arg.help
            raise BadArgument(arg.name, "is blank", needed, "Type it or point to its cell.")
        cell = default_of(arg, profile)
        if cell is None:
            return [] if arg.kind == "list" else None
    if arg.kind == "list":
        return numbers(arg, cell, profile)
    if arg.kind == "yes_no":
        return yes_no(arg, cell)
    if arg.kind == "date":
        return date(arg, cell)
    if arg.kind == "text":
        if not isinstance(cell, str):
            raise BadArgument(arg.name, "found {}".format(cell), arg.help, "Type a name.")
        return _choice(arg, cell, arg.choices) if arg.choices else cell.strip()
    return number(arg, cell, profile) * factor_of(arg.quantity, profile)
