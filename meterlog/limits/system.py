"""Chooses a session's limits: by the system voltage as entered, else by what its channels stand at."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from meterlog.details import entered_number
from meterlog.events.settings import SYSTEM_HIGHEST_V, SYSTEM_SPLIT_V, DetectionSettings
from meterlog.limits.limits import Limits
from meterlog.limits.load import load_limits, no_limits
from meterlog.series import Series

_ON_V = DetectionSettings().on_at_least_v
"""A supply is on from here up, V."""
_TELLING_READINGS = 3
"""Fewer tell no system where most readings are off: a guess."""
_LOOKED_AT = 20_000
"""Readings of a channel that are looked at, evenly spread: bounds time."""


def limits_for(
    details: Mapping[str, str], voltages: Iterable[Series], name_or_path: str | Path | None = None
) -> Limits:
    """Choose the limits to judge a session by; above all known systems they say that there are none (`foreign`).

    Args:
        details: as entered; `system_v` decides where it is there.
        voltages: the readings of the DC voltage channels: where nothing was entered they show a 24 V system.
        name_or_path: a set, or a person's own file.

    Raises:
        LimitsError: see `load_limits`.
    """
    stated = entered_number(details, "system_v")
    if stated is not None and stated > SYSTEM_HIGHEST_V and name_or_path is None:
        return no_limits(stated)
    limits = load_limits(name_or_path, stated)
    if not limits.assumed:
        return limits
    standing = (level for level in map(upper_v, voltages) if level <= SYSTEM_HIGHEST_V)
    if max(standing, default=0.0) <= SYSTEM_SPLIT_V:
        return limits
    return replace(load_limits(name_or_path, 24.0), assumed="the system voltage was not stated: 24 V by the readings")


def upper_v(series: Series) -> float:
    """Return what a voltage channel stands at for most of the time that it is on, V; 0 where it never is.

    An overvoltage of half a minute in five makes no 24 V system of a 12 V one, and one reading among those of a feed
    that is off makes no 92 V system: it may be wrong.
    """
    value = np.abs(series.value[:: max(1, len(series) // _LOOKED_AT)])
    on = value[np.isfinite(value) & (value >= _ON_V)]
    if not len(on) or (len(on) < _TELLING_READINGS and 2 * len(on) < len(value)):
        return 0.0
    return float(np.median(on))
