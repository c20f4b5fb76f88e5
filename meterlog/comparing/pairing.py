"""Pairs the channels of known-good and suspect captures, and refuses captures that must not be compared."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from meterlog.errors import CompareError
from meterlog.loaded import Loaded
from meterlog.roles import Role
from meterlog.session.model import Channel
from meterlog.text.names import same_name

_REST_12V = (11.0, 15.5)
"""Range in which the highest channel of a 12 V system usually lies, V: half of it beside a 24 V capture is another
system. A guess."""


_SAME_SYSTEM = 0.1
"""System voltages are one within this share: 12 and 13 V are, 12 and 24 V are not. A guess."""


Side = tuple[Loaded, Channel]


class Pair(NamedTuple):
    """One channel of a suspect capture with its fellows in the known-good captures that have one."""

    suspect: Side
    good: tuple[Side, ...]


class Paired(NamedTuple):
    """The channels that belong together, and those left over.

    Attributes:
        pairs: what both sides have.
        unpaired: the others, in words.
        deciding: those of them that tell something about the circuit.
    """

    pairs: list[Pair]
    unpaired: tuple[str, ...]
    deciding: tuple[str, ...]


def pair_channels(good: Sequence[Loaded], suspects: Sequence[Loaded], named: Mapping[str, str]) -> Paired:
    """Pair channels by label and quantity, or as told; the only ones of a quantity belong together anyway.

    Each part of a circuit may have its own session: a channel is paired with those captures that have its fellow.

    Args:
        good: the known-good captures.
        suspects: the suspect captures.
        named: labels of the known-good captures and the labels in the suspect that they belong to.

    Raises:
        CompareError: a label in `named` is nowhere, or no channel has fellows.
    """
    _check_named(good, suspects, named)
    pairs, lacking = [], []
    for suspect in suspects:
        for channel in suspect.measured:
            fellows = [(capture, _fellow(capture, channel, (good, suspects), named)) for capture in good]
            found = tuple((capture, fellow) for capture, fellow in fellows if fellow is not None)
            if found:
                pairs.append(Pair((suspect, channel), found))
            else:
                lacking.append((channel, f"of {suspect.path.name} is not in {_paths(good)}"))
    used = {(id(capture), fellow.number) for pair in pairs for capture, fellow in pair.good}
    for capture in good:
        for channel in capture.measured:
            if (id(capture), channel.number) not in used:
                lacking.append((channel, f"of {capture.path.name} is not in {_paths(suspects)}"))
    words = {f"{_named(channel)} {where}": channel.measurand.role is not Role.OTHER for channel, where in lacking}
    if not pairs:
        raise CompareError(f"no channel is on both sides: {'; '.join(words)}; say which belong together with --pair")
    return Paired(pairs, tuple(words), tuple(one for one, decides in words.items() if decides))


def _named(channel: Channel) -> str:
    return f"'{channel.label}' ({channel.quantity.words})"


def _fellow(
    capture: Loaded, channel: Channel, sides: Sequence[Sequence[Loaded]], named: Mapping[str, str]
) -> Channel | None:
    """The channel of a known-good capture that belongs to a suspect's; `sides` are all captures of both."""
    same = [c for c in capture.measured if c.quantity == channel.quantity]
    told = {same_name(good) for good, label in named.items() if same_name(label) == same_name(channel.label)}
    if told:
        return next((c for c in same if same_name(c.label) in told), None)
    by_label = [c for c in same if same_name(c.label) == same_name(channel.label)]
    if by_label or len(same) != 1:
        return by_label[0] if by_label else None
    # The only one of its quantity belongs to the only one there, unless either has a namesake on the other side.
    good, suspects = (_labels(captures, channel) for captures in sides)
    taken = same_name(channel.label) in good or same_name(same[0].label) in suspects
    taken = taken or same_name(channel.label) in {same_name(label) for label in named.values()}
    return None if taken or len(suspects) != 1 else same[0]


def _labels(captures: Sequence[Loaded], like: Channel) -> set[str]:
    return {same_name(c.label) for capture in captures for c in capture.measured if c.quantity == like.quantity}


def _check_named(good: Sequence[Loaded], suspects: Sequence[Loaded], named: Mapping[str, str]) -> None:
    for good_label, label in named.items():
        for captures, wanted in ((good, good_label), (suspects, label)):
            known = sorted({c.label for capture in captures for c in capture.measured})
            if same_name(wanted) not in {same_name(k) for k in known}:
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


def _paths(captures: Sequence[Loaded]) -> str:
    return " and ".join(capture.path.name for capture in captures)
