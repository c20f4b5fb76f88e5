"""Says one step of a job on a small screen: what it means, what is next, how, and what to mind."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from meterlog.cli.terminal.job_text import what
from meterlog.cli.terminal.wrap import wrapped_at
from meterlog.job.next_step import Next
from meterlog.job.status import Status
from meterlog.text.figures import count, percent
from meterlog.text.ids import plain

_ENTERS_IT = " Then 'job repaired"
_LEADS = ("dial", "red", "black")
_ROWS_BELOW = 5
"""Rows that answers, the next sentence and the living line take below a step. A choice."""


def meaning(before: Status, after: Status) -> str:
    """Return what a step has changed, in one line."""
    d = after.diagnosis
    if after.job.repaired and after.proof.verdict == "not yet":
        return f"Proof, not yet: {count(len(after.proof.next), 'reading')} to take again"
    if after.job.repaired and after.proof.verdict == "proved":
        return "The repair is proved."  # what is next says by which figures
    if d is None:
        return f"Means: {after.verdict}"
    if after.job.repaired:
        return f"Not proved: {after.proof.text}"
    first = d.hypotheses[0] if d.hypotheses else None
    if first is None or d.healthy > first.probability:
        return f"Means: nothing wrong in this circuit so far ({percent(d.healthy)})"
    was = before.diagnosis.hypotheses if before.diagnosis is not None else ()
    earlier = next((h.probability for h in was if h.part == first.part), None)
    change = f", was {percent(earlier)}" if earlier is not None else ""
    sure = "it is" if d.decided == first.part else "likeliest"
    return f"Means: {sure} {plain(first.part)}, {first.title} ({percent(first.probability)}{change})"


def next_line(following: Next, folder: Path) -> str:
    """Return what is next, in one line; the command that would enter a repair is left out, since a key does."""
    minutes = f" ({following.minutes:.0f} min)" if following.minutes else ""
    if following.measurement is not None:
        m = following.measurement
        again = "again, " if following.kind == "prove" or following.again else ""
        where = m.place.removeprefix("on ") if m.quantity == "lamp" else what(m)
        return f"Next: {again}{plain(where)}{minutes}"
    text, _, _ = following.for_folder(folder).partition(_ENTERS_IT)
    return f"Next: {text}"


def how_lines(following: Next, *, stays: bool) -> list[str]:
    """Dial, red, black and plugs, each in a line; nothing to clip on where the meters are there already."""
    how = following.how
    if stays:
        return [f"  then   {how['key']}, the meters are there"]
    lines = [f"  first  {how['unplug']}"] if how.get("unplug") else []
    leads = ("red", "black") if following.measurement and following.measurement.quantity == "lamp" else _LEADS
    return [*lines, *(f"  {key:6} {how[key]}" for key in leads), f"  then   {how['key']}"]


def arranged(news: Sequence[str], how: Sequence[str], minds: Sequence[str], size: tuple[int, int]) -> list[str]:
    """Put a step in order so that what it means stays on the screen: where it is small, what to mind comes first."""
    columns, rows = size
    cautions = [f"  mind   {caution}" for caution in minds]
    every = [*news, *how, *cautions]
    high = sum(1 + wrapped_at(line, columns).count("\n") for line in every)
    return every if high + _ROWS_BELOW <= rows else [*cautions, *news, *how]
