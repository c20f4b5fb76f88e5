"""Whether a voltage channel lies across a part: then it reads a drop, which comes and goes with the load."""

from __future__ import annotations

import re

from meterlog.reading import Quantity
from meterlog.session.model import Channel

_DROP = re.compile(r"\b(drop|loss|across)|\S:\S", re.IGNORECASE)
_GROUND = re.compile(r"\b(ground|earth)", re.IGNORECASE)
_TWO_POINTS = re.compile(r"\s*([\w+-]+)\s+to\s+([\w+-]+)\s*(,.*)?")
_A_POINT = re.compile(r".*_.*|(battery|fuse|relay|switch).*", re.IGNORECASE)
_GROUND_SIDE = re.compile(r"(.*_)?(ground|gnd|earth|minus|negative|body|chassis|bolt|eyelet)(_.*)?|-", re.IGNORECASE)


def spans_a_part(channel: Channel) -> bool:
    """Whether the meter lies across a part, by the words of its label and test point.

    `drop`, `loss`, `across`, or two points as `a:b`, say so, and so do two points of a circuit, `battery_plus to
    plug_feed`. From a point on the feed side to ground it is the supply. `ground` alone is the ground side's drop.
    """
    if _DROP.search(channel.label) or _DROP.search(channel.point):
        return True
    points = _TWO_POINTS.fullmatch(channel.point)
    if points and (_A_POINT.fullmatch(points[1]) or _A_POINT.fullmatch(points[2])):
        return not _GROUND_SIDE.fullmatch(points[2]) or bool(_GROUND_SIDE.fullmatch(points[1]))
    return bool(_GROUND.search(channel.label) or _GROUND.search(channel.point))


def measures_supply(channel: Channel) -> bool:
    """Tell whether the channel is a DC voltage against ground, and no drop."""
    return channel.quantity is Quantity.DC_VOLTAGE and not spans_a_part(channel)
