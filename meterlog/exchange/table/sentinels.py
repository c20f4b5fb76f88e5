"""Numbers that stand for no number: noticed by their size, their roundness and how often they come, and asked about."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from meterlog.exchange.table.question import Question
from meterlog.text.numbers import GOOD, CellReader

_REPEATED = 3
"""So often a number must come to be taken for a sentinel. A guess."""
_FROM, _TIMES_OTHERS = 900.0, 20.0
"""Sentinels are large, and so many times larger than any other value of their column. A guess."""
_NO_MEASUREMENT = 1e30
"""No instrument shows such a number."""
_ROUND = re.compile(r"9{3,}|[1-9]\d?0{3,}|32767|32768|65535|2147483647|2147483648|4294967295")


def ask_about_sentinels(title: str, cells: CellReader, distinct: Mapping[str, int]) -> None:
    """Look whether the largest number of a column is one that stands for something else.

    Args:
        title: of the column.
        cells: understands its cells.
        distinct: its different cells, and how often each comes.

    Raises:
        Question: it may be.
    """
    sizes: dict[float, list[str]] = {}
    for cell in distinct:
        known = cells[cell]
        if known.state == GOOD and math.isfinite(known.value) and cell.strip() not in cells.numbers:
            sizes.setdefault(abs(known.value) / cells.scale, []).append(cell)
    if not sizes:
        return
    size = max(sizes)
    texts = sizes.pop(size)
    cell = texts[0].strip()
    count = sum(distinct[text] for text in texts)
    others = max(sizes, default=0.0)
    plain = size >= _FROM and bool(_ROUND.fullmatch(f"{size:.10g}")) and count >= _REPEATED
    if size < _NO_MEASUREMENT and not (plain and sizes and size > _TIMES_OTHERS * others):
        return
    times = f"{count} times" if count > 1 else "once"
    raise Question(
        f"'{cell}' stands {times} in the column '{title}', where no other value is beyond {others:g}: say whether it"
        f" means no reading (--blank={cell}), overload (--overload={cell}) or itself (--number={cell})",
        "blank", (cell,),
    )  # fmt: skip
