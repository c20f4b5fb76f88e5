"""Many captures of one vehicle are not many vehicles: which of the known-good captures count."""

from __future__ import annotations

from meterlog.comparing.pairing import Pair
from meterlog.signal.tolerance import LEAST


def one_a_vehicle(pair: Pair) -> tuple[Pair, list[str]]:
    """Take the newest capture of each vehicle, where there are enough vehicles for a statement about others.

    Captures whose vehicle was not entered are left out then, as they may be of one that is there already.

    Returns:
        The pair with the captures that count, and a sentence where many captures are of fewer vehicles.
    """
    by_age = sorted(pair.good, key=lambda side: side[0].started_at)
    newest = {name: side for side in by_age if (name := side[0].details.get("vehicle", "").strip())}
    captures, vehicles = len(pair.good), len(newest)
    if captures < LEAST or not vehicles or captures == vehicles:
        return pair, []
    if vehicles < LEAST:
        return pair, [f"{captures} captures of {vehicles} vehicles show what is normal on these alone"]
    chosen = tuple(side for side in pair.good if side in newest.values())
    return pair._replace(good=chosen), [f"of {captures} captures the newest of each of {vehicles} vehicles counts"]
