"""Shares with a market what it may see: a small workbook made new, and a note kept at home of what was sent."""
from __future__ import annotations

import datetime as dt
import math
import re
import secrets
import zipfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from calc import dates, offers, tables, units
from calc.problems import either, quote
from workbook_template import market_copy
from workbook_template.market_copy import SPARE_LINES, Offer
from workbook_template.ports.parts import read_book
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.swap import Guard, beside, write_new
from workbook_template.sent import DOCKET, Sent, file_of, load_all, save

MOST_LOTS, MOST_DELIVERIES = 12, 20  # what a page takes
OUTRIGHT = "bought outright"


@dataclass
class Shared:
    """What came of sharing: the copy, the sheet's number, and what stands on it."""

    out: Path
    offer: Offer
    kept: Path

    def sentence(self) -> str:
        offer = self.offer
        lots = f", {_count(len(offer.lots), 'lot')}" if offer.show_lots else ""
        return (f"Made {self.out} for {offer.market}: sheet {offer.send} with {_count(len(offer.weeks), 'week')}{lots} and "
                f"{_count(len(offer.delivered), 'delivery', 'deliveries')}. When it comes back: boltbook receive. What was sent is kept in "
                f"{self.kept.parent.name}; move that folder with the workbook.")


def _count(number: int, one: str, many: str | None = None) -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"


def share(path: Path, market: str, out: Path, today: dt.date | None = None, token: str | None = None, step=lambda words: None) -> Shared:
    """Write the copy for a market to out, a new file; the workbook is only read.

    token: 12 hexadecimal digits that mark the sheet (new ones if left out). Raises FileProblem, LayoutProblem,
    SaveProblem; then nothing was written.
    """
    from workbook_template.ports.closed_file import ClosedFile
    from workbook_template.refresh import read_inputs, work_out

    step("Reading")
    port = ClosedFile(path, force=True)
    inputs = read_inputs(port, today, step)
    put_keys(inputs)
    name = _market(inputs.intake.frames, market)
    before = load_all(port.source)
    step("Working out")
    sent = Sent(yard_mark(port.source), token or secrets.token_hex(6), _next(before, inputs.intake.frames), name, inputs.as_of.isoformat(),
                inputs.profile)
    offer = offer_of(inputs, work_out(inputs), sent)
    sent.rows = _rows_sent(offer)
    told_kg = told(inputs.intake.frames, name)
    for key, row in sent.rows.items():
        if row["block"] == "delivered":  # what other sheets told of it by now, to see later what they told since
            row["on_sheets"] = round(told_kg.get(key, 0.0) / units.factor("weight", inputs.profile), 9)
    step("Writing")
    with beside(out):
        kept = save(port.source, sent)
        write_new(out, lambda target: market_copy.draw(target, offer))
    return Shared(out, offer, kept)


def put_keys(inputs) -> None:
    """Give the checked Sales their row keys, which the checks do not hand on."""
    raw, frames = inputs.raw["sales"], inputs.intake.frames
    keys = raw.columns["row"].values
    frames["sales"] = frames["sales"].assign(key=[str(keys[row - raw.first_row] or "").strip() for row in frames["sales"]["row"]])


def _market(frames: dict, wanted: str) -> str:
    """The market's name as Lists has it. Raises FileProblem with the names there are."""
    names = [str(name) for name in frames["markets"]["market"].dropna()] if len(frames.get("markets", ())) else []
    for name in names:
        if name.strip().casefold() == wanted.strip().casefold():
            return name.strip()
    there = f"Lists has {either(quote(n) for n in names)}" if names else "Lists has no market yet"
    raise FileProblem(f"{quote(wanted)} is no market on Lists. {there}. Nothing was written.")


def _next(before: list[Sent], frames: dict) -> int:
    """The next sheet's number: above every one sent, and every one that a docket on Sales names."""
    dockets = (DOCKET.match(str(text)) for text in frames.get("sales", {}).get("docket", ()) if text is not None)
    return max([0, *(sent.send for sent in before), *(int(found[1]) for found in dockets if found)]) + 1


def yard_mark(path: Path) -> str:
    """The workbook's own random number, by which its sheets are known. A workbook without one is given one, with a backup."""
    found = yard_of(path)
    if found:
        return found
    mark = secrets.token_hex(8)
    guard = Guard(path)
    guard.save(lambda target: _put_mark(guard.path, target, mark))
    return mark


def yard_of(path: Path) -> str:
    """The workbook's own random number; "" if it has none."""
    with zipfile.ZipFile(path) as archive:
        found = re.fullmatch(r'="?([0-9a-f]{16})"?|"?([0-9a-f]{16})"?', read_book(archive).names.get("bb_yard", ""))
    return (found[1] or found[2]) if found else ""


def _put_mark(path: Path, target: Path, mark: str) -> None:
    from workbook_template.ports.package import workbook_content
    from workbook_template.ports.rawzip import rewrite
    with zipfile.ZipFile(path) as archive:
        book = read_book(archive)
        xml = archive.read(book.workbook_part)
    rewrite(path, target, {book.workbook_part: workbook_content(xml, {("bb_yard", None): f'"{mark}"'}, False)})


# ---- what is on the copy -------------------------------------------------------------------------------------------

def offer_of(inputs, results, sent: Sent) -> Offer:
    """What the market may see, in the workbook's units."""
    settings, frames, profile = inputs.settings, inputs.intake.frames, inputs.profile
    offer = Offer(sent.market, profile, inputs.as_of, sent.send, sent.stamp, name=_said(settings, "share_name"),
                  contact=_said(settings, "share_contact"), currency=str(settings.get("currency") or ""),
                  prices=settings.get("share_prices") == "yes", show_lots=settings.get("share_lots") == "yes",
                  outright=_terms(frames, sent.market) == OUTRIGHT, chance=float(settings.get("promise_chance") or 0.8))
    factor = units.factor("weight", profile)
    offer.weeks = _weeks(offers.weeks(getattr(results, "supply", None), frames, sent.market, inputs.as_of), frames, sent.market, factor)
    if not any(isinstance(row["more"], float) for row in offer.weeks):
        offer.notes.append("No promise can be worked out yet.")
    if offer.show_lots:
        offer.lots = _lots(frames, inputs, factor, offer.notes)
    offer.delivered = _delivered(frames, offer, factor)
    offer.spare = [{"row": f"N{i:02d}", "spare": True} for i in range(1, SPARE_LINES + 1)]
    return offer


def _said(settings: dict, key: str) -> str:
    return str(settings.get(key) or "").strip()


def _terms(frames: dict, market: str) -> str:
    markets = frames["markets"]
    mine = [str(n or "").strip().casefold() == market.casefold() for n in markets["market"]]
    return str(markets.loc[mine, "terms"].iloc[0] or "").strip().casefold()


def _down(kilos: float, factor: float) -> float | None:
    """A promise in the workbook's unit, rounded down to one decimal; None where it is not known."""
    return math.floor(round(kilos / factor * 10, 9)) / 10 if kilos == kilos else None


def _shown(kilos: float, factor: float) -> float | None:
    return round(kilos / factor, 6) if kilos == kilos else None


def _money(per_kilo: float, factor: float) -> float | None:
    return round(per_kilo * factor, 6) if per_kilo == per_kilo else None


def _weeks(found, frames: dict, market: str, factor: float) -> list[dict]:
    table = []
    prices = offers.prices_on(frames, market, "fresh", list(found["week"]))
    for row, price in zip(found.itertuples(), prices, strict=True):
        table.append({"row": f"W{row.week:%y%m%d}F", "when": row.week, "product": "fresh", "words": row.words,
                      "weight": _shown(row.promised_kg, factor), "price": _money(price, factor),
                      "more": _down(row.more_kg, factor), "asked": _shown(row.asked_kg, factor)})
    return table


def _lots(frames: dict, inputs, factor: float, notes: list[str]) -> list[dict]:
    fresh, dried = tables.figure("fresh_keeps_days"), tables.figure("dry_keeps_months")
    keeps = float(inputs.settings.get("keeps_days") or fresh.typical)
    found = offers.lots_on_hand(frames, inputs.as_of, (min(fresh.low, keeps), keeps), (dried.low, dried.high))
    if len(found) > MOST_LOTS:
        notes.append(f"The {MOST_LOTS} oldest lots of {len(found)} are listed.")
    return [{"row": f"L{i:02d}", "when": row.day, "product": row.product, "grade": row.grade, "lot": row.lot, "weight": _down(row.on_hand_kg, factor),
             "use_by": _span(row.use_from, row.use_to), "wet": "picked wet: use first" if row.wet else ""}
            for i, row in enumerate(found.head(MOST_LOTS).itertuples(), start=1)]


def _span(first: dt.date, last: dt.date) -> str:
    begin = f"{first.day} {first:%b}" if first.year == last.year else dates.words(first)
    return dates.words(last) if first == last else f"{begin} to {dates.words(last)}"


def _delivered(frames: dict, offer: Offer, factor: float) -> list[dict]:
    found = offers.deliveries(frames, offer.market, offer.day, told(frames, offer.market), offer.outright)
    if len(found) > MOST_DELIVERIES:
        offer.notes.append(f"{len(found) - MOST_DELIVERIES} older deliveries are not listed.")
        found = found.tail(MOST_DELIVERIES)
    seen = Counter(str(key or "") for key in frames["sales"]["key"])
    table = []
    for i, row in enumerate(found.itertuples(), start=1):
        key = str(row.key or "")
        table.append({"row": key if key and seen[key] == 1 else f"D{i:02d}", "when": row.date, "product": row.product, "grade": row.grade,
                      "lot": row.lot, "docket": row.docket, "weight": _shown(row.delivered_kg, factor),
                      "price": _money(row.price, factor), "told": _shown(row.told_kg, factor) or None})
    return table


def told(frames: dict, market: str) -> dict[str, float]:
    """Row key of a delivery -> kg of it that sheets which came back told of as sold, returned or spoiled."""
    found: Counter = Counter()
    for row in frames["sales"].itertuples():
        docket = DOCKET.match(str(row.docket or "")) if row.docket == row.docket else None
        if docket and row.kind in ("sold", "returned", "spoiled") and str(row.market or "").strip().casefold() == market.casefold():
            found[docket[3]] += float(row.amount)
    return dict(found)


def _rows_sent(offer: Offer) -> dict[str, dict]:
    """What the note at home keeps of each row: what the market saw, so that a row put together wrongly is noticed."""
    rows = {}
    for row in offer.weeks:
        rows[row["row"]] = {"block": "weeks", "week": row["when"].isoformat(), "product": row["product"], "asked": row["asked"]}
    for row in offer.delivered:
        rows[row["row"]] = {"block": "delivered", "date": row["when"].isoformat(), "product": row["product"], "grade": row["grade"],
                            "lot": row["lot"], "weight": row["weight"], "told": row["told"] or 0.0}
    for row in offer.spare:
        rows[row["row"]] = {"block": "spare"}
    return rows


def sent_before(path: Path, stamp: tuple[str, str]) -> Sent | None:
    """The note of the sheet with this stamp, None if it is not there."""
    return next((sent for sent in load_all(path) if (sent.yard, sent.token) == stamp), None)


__all__ = ["Shared", "file_of", "offer_of", "sent_before", "share", "told", "yard_mark", "yard_of"]
