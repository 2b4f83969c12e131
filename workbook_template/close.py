"""boltbook close: what each market owes on a day is kept on Lists, and from then on lines up to that day are left as they are."""
from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from calc import cents, closing, dates, units
from calc.problems import REFUSED, quote
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.swap import Guard
from workbook_template.ports.type_in import type_into


@dataclass
class Closed:
    """What was closed, and where the file as it was stands."""

    path: Path
    day: dt.date
    accounts: list[closing.Account]
    currency: str
    backup: Path
    year: dict | None = None  # the row of Closed years, in the workbook's units
    weight: str = ""

    def lines(self) -> list[str]:
        told = [f"Closed to {dates.words(self.day)} on Lists of {self.path.name}. The file as it was: {self.backup.name}."]
        told += [f"  {a.market}: owes {self.currency} {cents.money(a.cents):,.2f} by {a.lines} line{'' if a.lines == 1 else 's'} of Sales"
                 + (f"; {a.unpriced} without a price" if a.unpriced else "") for a in self.accounts]
        if self.year:
            told.append(f"  {self.year['closed_year']}: picked {self.year['year_picked']:,.2f} {self.weight}, spent {self.currency} "
                        f"{self.year['year_spent']:,.2f}, worked {self.year['year_minutes'] / 60:,.1f} h")
        return [*told, "Lines up to that day stay as they are now. What was wrong in them: a line of kind correction, dated later."]


def year_row(frames: dict, year: int, profile: str) -> dict | None:
    """The row of Closed years for a year, in the workbook's units; None where it is closed already or has no line."""
    found, known = closing.year_of(frames, year), frames.get("closed_years")
    if not found.lines or known is not None and len(known) and (known["closed_year"] == year).any():
        return None
    return {"closed_year": year, "year_picked": round(found.picked_kg / units.factor("weight", profile), 2), "year_spent": round(found.spent, 2),
            "year_minutes": round(found.minutes, 2)}


def known_markets(frames: dict) -> list[str]:
    """The markets of Lists, then those that stand on Sales alone, each once."""
    names = [str(name).strip() for table in ("markets", "sales") if table in frames for name in frames[table]["market"].dropna()]
    return list({name.casefold(): name for name in reversed(names)}.values())[::-1]


def close(path: Path, day: dt.date, market: str | None = None, today: dt.date | None = None, force: bool = False,
          year: bool = False, step=lambda words: None) -> Closed:
    """Write a row into Closed periods for every market with an account (or the one named).

    year: close the calendar year that ends on that day too: what was picked, spent and worked in it.

    Raises FileProblem where the day is not over, rows of Sales cannot be read, an earlier closed period no longer agrees, or there is
    nothing to close; SaveProblem where the file cannot be written. Then nothing was changed.
    """
    from workbook_template.ports.closed_file import ClosedFile
    from workbook_template.refresh import closed_questions, read_inputs

    now = today or dt.date.today()
    if day > now:
        raise FileProblem(f"{dates.words(day)} is still to come: an account is closed to a day that is over. Nothing was written.")
    step("Reading")
    guard = Guard(path, force=force)
    inputs = read_inputs(ClosedFile(path, force=True), now, step)
    frames = inputs.intake.frames
    unread = [p for p in inputs.problems if p.level == REFUSED and p.sheet == "Sales"]
    if unread:
        raise FileProblem("\n".join([f"{len(unread)} row{'s' if len(unread) > 1 else ''} of Sales cannot be read, so what is owed is not known:",
                                     *(f"  {p.sentence()}" for p in unread[:10]), "Mend them, then close. Nothing was written."]))
    asked = closed_questions(frames, inputs.profile, now)
    if asked:
        raise FileProblem("\n".join(["An earlier closed period does not agree any more:", *(f"  {p.sentence()}" for p in asked),
                                     "Nothing was written."]))
    accounts = closing.to_close(frames, day, market)
    whole = year_row(frames, day.year, inputs.profile) if year else None
    if not accounts and not whole:
        if year:
            raise FileProblem(f"{day.year} is closed already, or no line of Events, Costs or Sales stands in it. Nothing was written.")
        if market and market.strip().casefold() not in {a.casefold() for a in known_markets(frames)}:
            raise FileProblem(f"{quote(market)} is no market on Lists or Sales. There {'is' if len(known_markets(frames)) == 1 else 'are'}: "
                              f"{', '.join(map(quote, known_markets(frames))) or 'none yet'}. Nothing was written.")
        named = f"{market} has no account" if market else "No market has an account"
        raise FileProblem(f"{named} to close to {dates.words(day)}: there is no line up to that day, or it is closed already. Nothing was written.")
    step("Writing")
    rows = [{"close_market": a.market, "closed_to": day, "close_balance": cents.money(a.cents)} for a in accounts]
    new = {"closings": rows} | ({"closed_years": [whole]} if whole else {})
    content = type_into(guard.path, rows=new, today=now).content

    def check(made: Path) -> None:
        after = read_inputs(ClosedFile(made, force=True), now).intake.frames
        if closing.to_close(after, day, market) or closed_questions(after, inputs.profile, now):
            raise FileProblem("The closed periods did not arrive as they should. Your workbook was left as it was. Please report this.")

    backup = guard.save(lambda target: target.write_bytes(content), check)
    return Closed(Path(path), day, accounts, str(inputs.settings["currency"]), backup, whole,
                  units.profile_unit("weight", inputs.profile))
