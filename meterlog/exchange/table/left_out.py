"""Refuses to leave out much of a table in silence."""

from __future__ import annotations

from meterlog.exchange.table.options import ImportOptions
from meterlog.exchange.table.question import Question
from meterlog.exchange.table.remarks import Remarks

MOST_ROWS, MOST_SHARE = 3, 0.01
"""So many rows, or this share of them, may be left out because they cannot be read: summaries, torn lines."""


def ask_about_left_out(options: ImportOptions, remarks: Remarks, rows: int) -> None:
    """Look how many rows could not be read.

    Raises:
        Question: they are more than what damage explains, and nobody said that they may be left out.
    """
    too_many = remarks.unreadable(more_than=max(MOST_ROWS, MOST_SHARE * rows))
    if options.leave_out or not too_many:
        return
    raise Question(
        f"too much of the table cannot be read: {'; '.join(too_many)}, of {rows} rows: say how it is to be understood,"
        " read other lines with --lines A-B, or leave that out with --leave-out",
        "leave_out",
        (True,),
    )
