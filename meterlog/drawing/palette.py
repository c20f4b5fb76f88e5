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

TRACES = {
    BLUE: ("#0069a6", "#5fb4e8"),
    VERMILION: ("#b34f00", "#f08a4b"),
    GREEN: ("#007a59", "#3cc79c"),
    GREY: ("#666672", "#a2a2b0"),
}
"""The colours of lines on white and on the dark ground, each at least 4.5 to 1 (WCAG 2.2, 1.4.3); none is both."""

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


def trace_rules(*, dark: bool) -> str:
    """Return the style rules that give each line the ink for its ground; `dark`: where the system asks for dark too."""
    grounds = [("", 0), ("@media (prefers-color-scheme: dark)", 1)] if dark else [("", 0)]
    rules = []
    for media, which in grounds:
        inner = "".join(_rule(colour, inks[which]) for colour, inks in TRACES.items())
        rules.append(f"{media}{{{inner}}}" if media else inner)
    return "".join(rules)


def _rule(colour: str, ink: str) -> str:
    """The drawing library writes a line's colour into the line itself, as three numbers."""
    numbers = ", ".join(str(int(colour[i : i + 2], 16)) for i in (1, 3, 5))
    line = f'.js-plotly-plot .js-line[style*="stroke: rgb({numbers})"]{{stroke:{ink}!important}}'
    return line + f'.js-plotly-plot .point[style*="fill: rgb({numbers})"]{{fill:{ink}!important}}'


def tint(colour: str, opacity: float) -> str:
    """Return a colour that lets through what lies below it."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{opacity:g})"
