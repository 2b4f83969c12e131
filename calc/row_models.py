"""The pydantic model of a row of each input table, made from the rules of records.py: words for a row in doubt."""
from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

import numpy as np
import pandas as pd
from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    create_model,
    model_validator,
)
from pydantic_core import PydanticCustomError

from calc.records import AMOUNT_LIMITS, FIXED_LISTS, MONEY_KINDS, NEEDED, TINY, Rule, over, rules, sale_rule


def _whole(value: float) -> float:
    if abs(value - round(value)) > TINY:
        raise PydanticCustomError("limits", "is not a whole number")
    return value


def _number(rule: Rule):
    """The type of a number held to a rule."""
    edges = {}
    if rule.lowest is not None:
        edges["ge"] = rule.lowest - TINY
    if rule.highest is not None:
        edges["le"] = rule.highest + TINY
    held = Annotated[float, Field(allow_inf_nan=False, **edges)]
    return Annotated[held, AfterValidator(_whole)] if rule.whole else held


class _Row(BaseModel):
    """A row of an input table in SI; blank is None."""

    model_config = ConfigDict(extra="ignore", strict=True)


def _numbers(table: str, name: str):
    """A model with every number of a table, held to its rule; needed ones without a default."""
    fields = {key: (_number(rule), ...) if key in NEEDED[table] else (_number(rule) | None, None)
              for key, rule in rules(table).items() if not key.startswith("amount_")}
    return create_model(name, __base__=_Row, **fields)


Day = dt.date
Name = Annotated[str, Field(min_length=1)]


class LogRow(_numbers("logs", "LogNumbers")):
    """A log, or a group of like logs: sizes in metres, weight in kg, moisture as a fraction, wet basis."""

    log: Name
    wood: str | None = None
    strain: str | None = None
    inoculated: Day | None = None
    felled: Day | None = None
    spawn_form: str | None = None
    spawn_lot: str | None = None
    ends_waxed: str | None = None
    place: str | None = None


class EventRow(_numbers("events", "EventNumbers")):
    """Something that happened. amount is kg, metres of water, hours or a number of logs, by amount_is."""

    date: Day
    event: Name
    amount_is: Literal["weight", "depth", "hours", "number", ""] = ""
    amount_needed: bool = False
    amount: Annotated[float, Field(allow_inf_nan=False)] | None = None
    log_text: str | None = None

    @model_validator(mode="after")
    def _check(self):
        key = AMOUNT_LIMITS.get(self.amount_is)
        if self.amount is None:
            if self.amount_needed:
                raise PydanticCustomError("amount_needed", "amount")
        elif key and rules("events")[key].refused(self.amount):
            raise PydanticCustomError("limits", "amount")
        elif self.event == "dried" and over(self.dried_out_kg or 0.0, self.amount):
            raise PydanticCustomError("dried_over_fresh", "dried_out_kg")
        return self


class CostRow(_numbers("costs", "CostNumbers")):
    """Money spent; life in years and what the thing is worth at the end, for things that last."""

    date: Day
    item: str | None = None
    category: str | None = None

    @model_validator(mode="after")
    def _check(self):
        if self.salvage is not None and over(self.salvage, max(self.amount, 0.0)):
            raise PydanticCustomError("salvage_over_price", "salvage")
        return self


class SaleRow(_numbers("sales", "SaleNumbers")):
    """A movement to, at or from a market in kg, or money paid, charged or corrected; price per kg."""

    date: Day
    amount: Annotated[float, Field(allow_inf_nan=False)]
    market: Name
    kind: Literal[FIXED_LISTS["sale_kinds"]]
    product: Literal[FIXED_LISTS["products"]] | None = None

    @model_validator(mode="after")
    def _check(self):
        if sale_rule(self.kind).refused(self.amount):
            raise PydanticCustomError("limits", "amount")
        if self.product is None and self.kind not in MONEY_KINDS:
            raise PydanticCustomError("product_needed", "product")
        return self


class PromiseRow(_numbers("promises", "PromiseNumbers")):
    """A week at a market: kg asked for, promised and ordered. Any day of the week stands for it."""

    week: Day
    market: Name
    product: Literal[FIXED_LISTS["products"]]


MODELS = {"logs": LogRow, "events": EventRow, "costs": CostRow, "sales": SaleRow, "promises": PromiseRow}
_CODES = {"missing": "needed", "string_type": "needed", "date_type": "needed", "float_type": "needed",
          "literal_error": "needed"}


def failures_of(table: str, row: dict) -> list[tuple[str, str]]:
    """(code, column) of everything wrong with one row, from its model; [] where it is good."""
    try:
        MODELS[table](**{key: _plain(value) for key, value in row.items()})
    except ValidationError as error:
        return [(_CODES.get(e["type"], e["type"] if not e["loc"] else "limits"),
                 str(e["loc"][0]) if e["loc"] else e["msg"]) for e in error.errors(include_url=False)]
    return []


def _plain(value):
    """A cell of a column as the model takes it: blanks as None, numpy's scalars as Python's own."""
    if value is None or value is pd.NaT:
        return None
    if isinstance(value, np.datetime64):
        return None if np.isnat(value) else value.astype("datetime64[D]").astype(object)
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and np.isnan(value) else value
