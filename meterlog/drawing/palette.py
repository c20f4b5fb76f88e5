"""Names the colours in which everything is drawn: in the report, on the page, and live."""

from __future__ import annotations

from meterlog.kinds import KINDS, ColourRole

BLUE, ORANGE, GREEN, VERMILION, PURPLE, GREY = "#0072B2", "#E69F00", "#009E73", "#D55E00", "#CC79A7", "#70707C"
"""Colours that colour-blind eyes tell apart (after Okabe and Ito; `tests/test_colours.py` says how far), seen on white
and on black: all but `ORANGE`, which is too pale on white and has an outline. A word always says the same."""

BLACK = "#222222"
"""Ink on paper: the words of a report."""

GRID = "rgba(128,136,144,0.28)"
"""Lines of the grid, on white and on black."""

CHANNELS = (BLUE, VERMILION, GREEN, PURPLE)
"""The colours of channels that are drawn live, one after the other."""

OUTLINES = {ORANGE: "#A86F00"}
"""The outline of a colour that is too pale by itself; all others are their own outline."""

ROLES: dict[ColourRole, str] = {"fault": VERMILION, "deviation": ORANGE, "good": GREEN, "doubt": GREY}
"""The colour of what an event says."""


def kind_colour(kind: str) -> str:
    """Return the colour of a kind of event."""
    return ROLES[KINDS[kind].role]


def outline(colour: str) -> str:
    """Return what goes round a colour, so that it is seen on white."""
    return OUTLINES.get(colour, colour)


def tint(colour: str, opacity: float) -> str:
    """Return a colour that lets through what lies below it."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{opacity:g})"
