"""The colours in which events are drawn, in the report and on the page."""

BLUE, ORANGE, GREEN, VERMILION, PURPLE, GREY = "#0072B2", "#E69F00", "#009E73", "#D55E00", "#CC79A7", "#70707C"
"""Colours that colour-blind eyes tell apart (after Okabe and Ito; `tests/test_colours.py` says how far), seen on white
and on black: all but `ORANGE`, which is too pale on white and has an outline. A word always says the same."""

OUTLINES = {ORANGE: "#A86F00"}
"""What goes round a colour that is too pale by itself; all others are their own outline."""

KIND_COLOURS = {
    "prime_pulse": GREEN,
    "sag": ORANGE,
    "overvoltage": ORANGE,
    "gap": GREY,
    "held_display": GREY,
    "meter_battery_low": GREY,
    "range_change": GREY,
}
"""Kinds of events by colour; all others are `VERMILION`."""
