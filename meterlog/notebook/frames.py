"""Turns the dataclasses of results into frames."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, fields, is_dataclass

import pandas as pd


def frame_of(results: Iterable[object]) -> pd.DataFrame:
    """Make a row of each result, with its fields as columns; fields that are results themselves stay in one cell."""
    found = list(results)
    rows = [asdict(one) for one in found if is_dataclass(one) and not isinstance(one, type)]
    columns = [field.name for field in fields(found[0])] if found and is_dataclass(found[0]) else None
    return pd.DataFrame(rows, columns=columns)
