"""Pairs the channels of known-good and suspect captures, and refuses captures that must not be compared."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from meterlog.errors import CompareError
from meterlog.loaded import Loaded
from meterlog.session.model import Channel

_REST_12V = (11.0, 15.5)
"""Range in which the highest channel of a 12 V system usually lies, V: half of it beside a 24 V capture is another
system. A guess."""


_SAME_SYSTEM = 0.1
"""System voltages are one within this share: 12 and 13 V are, 12 and 24 V are not. A guess."""


class Pair(NamedTuple):
    """One channel of the suspect with its fellow in each known-good capture."""

    suspect: Channel
    good: tuple[Channel, ...]


def pair_channels(good: Sequence[Loaded], suspect: Loaded, named: Mapping[str, str]) -> tuple[list[Pair], list[str]]:
    """Pair channels by label and quantity, or as told; the only ones of a quantity belong together anyway.

    Args:
        good: the known-good captures.
        suspect: the suspect capture.
        named: labels of the known-good captures and the labels in the suspect that they belong to.

    Returns:
        The pairs that every capture has, and in words what has no fellow.

    Raises:
        CompareError: a label in `named` is nowhere, or no channel has fellows.
    """
    _check_named(good, suspect, named)
    pairs, unpaired = [], []
    for channel in suspect.measured:
        fellows = [_fellow(capture, channel, suspect, named) for capture in good]
        lacking = [capture for capture, fellow in zip(good, fellows, strict=True) if fellow is None]
        found = tuple(fellow for fellow in fellows if fellow is not None)
        if lacking:
            unpaired.append(
                f"'{channel.label}' ({channel.quantity.words}) of {suspect.path.name} is not in {_paths(lacking)}"
            )
        else:
            pairs.append(Pair(channel, found))
    for number, capture in enumerate(good):
        used = {pair.good[number].number for pair in pairs}
        for channel in capture.measured:
            if channel.number not in used and not _mentioned(channel, unpaired):
                unpaired.append(
                    f"'{channel.label}' ({channel.quantity.words}) of {capture.path.name} is not in {suspect.path.name}"
                )
    if not pairs:
        raise CompareError(
            f"no channel is in all captures: {'; '.join(unpaired)}; say which belong together with --pair"
        )
    return pairs, unpaired


def _fellow(capture: Loaded, channel: Channel, suspect: Loaded, named: Mapping[str, str]) -> Channel | None:
    same = [c for c in capture.measured if c.quantity == channel.quantity]
    told = {good for good, label in named.items() if _key(label) == _key(channel.label)}
    if told:
        return next((c for c in same if _key(c.label) in {_key(label) for label in told}), None)
    by_label = [c for c in same if _key(c.label) == _key(channel.label)]
    if by_label:
        return by_label[0]
    alone = len(same) == 1 and sum(c.quantity == channel.quantity for c in suspect.measured) == 1
    return same[0] if alone and _key(channel.label) not in {_key(label) for label in named.values()} else None


def _mentioned(channel: Channel, unpaired: Sequence[str]) -> bool:
    return any(f"'{channel.label}' ({channel.quantity.words})" in line for line in unpaired)


def _check_named(good: Sequence[Loaded], suspect: Loaded, named: Mapping[str, str]) -> None:
    for good_label, label in named.items():
        for captures, wanted in ((good, good_label), ([suspect], label)):
            known = sorted({c.label for capture in captures for c in capture.measured})
            if _key(wanted) not in {_key(k) for k in known}:
                raise CompareError(f"no channel is labelled '{wanted}'; the labels are {', '.join(map(repr, known))}")


def check_systems(captures: Sequence[Loaded]) -> list[str]:
    """Refuse captures of different system voltages; as entered, or else as the levels prove it.

    Returns:
        What could not be checked, in words.

    Raises:
        CompareError: two captures are of different systems.
    """
    stated = {capture.path: capture.system_v for capture in captures if capture.system_v is not None}
    if stated and any(not math.isclose(v, next(iter(stated.values())), rel_tol=_SAME_SYSTEM) for v in stated.values()):
        listed = ", ".join(f"{path} {volts:g} V" for path, volts in stated.items())
        raise CompareError(f"these captures are of different system voltages and cannot be compared: {listed}")
    if len(stated) == len(captures):
        return []
    of_24 = [capture for capture in captures if _is_24_v(capture)]
    of_12 = [capture for capture in captures if _is_12_v(capture)]
    if of_24 and of_12:
        raise CompareError(
            f"{of_24[0].path} stands at {of_24[0].upper_v():.1f} V and {of_12[0].path} at {of_12[0].upper_v():.1f} V: "
            "a 24 V and a 12 V system cannot be compared; if both are of one system, say so with --one-system"
        )
    return ["the system voltage is not entered in every session; all are assumed to be of one system"]


def _is_24_v(capture: Loaded) -> bool:
    if capture.system_v is not None:
        return math.isclose(capture.system_v, 24.0, rel_tol=_SAME_SYSTEM)
    return capture.shows_24_v()


def _is_12_v(capture: Loaded) -> bool:
    if capture.system_v is not None:
        return math.isclose(capture.system_v, 12.0, rel_tol=_SAME_SYSTEM)
    return _REST_12V[0] <= capture.upper_v() <= _REST_12V[1]


def _key(label: str) -> str:
    return " ".join(label.casefold().split())


def _paths(captures: Sequence[Loaded]) -> str:
    return " and ".join(capture.path.name for capture in captures)
