"""The drop that is allowed over what a channel spans, by the words of its label and test point."""

from __future__ import annotations

from meterlog.session.model import Channel

_ELEMENTS: tuple[tuple[tuple[str, ...], str], ...] = (
    (("solenoid",), "drop_solenoid_max_v"),
    (("starter ground", "starter negative", "starter -"), "drop_starter_negative_max_v"),
    (("starter",), "drop_starter_positive_max_v"),
    (("ground", "earth", "connection", "connector", "terminal", "strap"), "drop_ground_max_v"),
    (("relay", "switch", "contact"), "drop_contact_max_v"),
    (("cable",), "drop_cable_max_v"),
)


def drop_figure(channel: Channel) -> str:
    """The name of the figure that limits the drop over what the channel spans; any one circuit where no word says."""
    for words, figure in _ELEMENTS:
        if channel.measurand.names(*words):
            return figure
    return "drop_circuit_max_v"
