"""Asks what only a person can tell of a profile's bytes, from the display, by the address option `told`.

`told=1100:1mV,1140:1mV+minus`: the bytes that nobody has published, as the question shows them, then what the display
shows with them: the amount of one count where the profile asks for it, and words.
"""

from __future__ import annotations

import math
from dataclasses import replace

from meterlog.address import Address
from meterlog.errors import AddressError, UsageError, did_you_mean
from meterlog.text.typed import typed_amount
from meterlog_drivers.display.symbols import UNITS
from meterlog_drivers.profiles.frame_display import value_in
from meterlog_drivers.profiles.frame_parts import Map
from meterlog_drivers.profiles.frame_profile import FrameProfile
from meterlog_drivers.profiles.frame_tables import COUNT

_MEASURED_IN = [unit for unit in UNITS if unit not in ("beep", "diode", "hFE")]
NOTHING = "none"
"""The word for bytes that say nothing."""
LEAST_POWER, MOST_POWER = -12, 6
"""Powers of ten that one count may be, as a profile's words have them."""


def told_profile(profile: FrameProfile, address: Address) -> FrameProfile:
    """The profile with what the address tells of its asked map.

    Raises:
        AddressError: it cannot be understood, or contradicts what is known.
    """
    asked = next((one for one in profile.displays[0].maps if one.asked), None)
    if asked is None or not address.options.get("told"):
        return profile
    values = {}
    for part in address.options["told"].split(","):
        key, colon, answer = (text.strip() for text in part.partition(":"))
        value = _value(asked, key)
        if not colon or value is None:
            raise AddressError(
                f"in '{address}' told must be like {_example(asked)}, with the bytes that the question shows,"
                f" not '{part.strip()}'"
            )
        values[value] = _words(answer, asked, _known_unit(profile, asked, value), address)
    maps = tuple(one._replace(values=values) if one is asked else one for one in profile.displays[0].maps)
    return replace(profile, displays=(replace(profile.displays[0], maps=maps), *profile.displays[1:]))


def question(profile: FrameProfile, plain: bytes) -> str:
    """Return what a person must tell of an unmasked frame, with the option that answers it; '' for nothing."""
    asked = next((one for one in profile.displays[0].maps if one.asked), None)
    if asked is None:
        return ""
    value = value_in(plain, asked)
    if value in asked.values:
        return ""
    places = ", ".join(str(at + 1) for at in asked.at)
    answer = "1mV" if COUNT in asked.asked else "m"
    return (
        f"{asked.question} The frame says '{_key(asked, value)}' in byte {places}: add for example"
        f" told={_key(asked, value)}:{answer} to the address, more with commas"
    )


def _key(asked: Map, value: bytes) -> str:
    """A value as a person writes it: hex, one digit for a byte of which four bits count."""
    return "".join(
        f"{byte:X}" if mask == 0x0F else f"{byte:02X}" for byte, mask in zip(value, asked.masks, strict=True)
    )


def _value(asked: Map, key: str) -> bytes | None:
    widths = [1 if mask == 0x0F else 2 for mask in asked.masks]
    if len(key) != sum(widths):
        return None
    pieces = [key[sum(widths[:n]) : sum(widths[: n + 1])] for n in range(len(widths))]
    try:
        value = bytes(int(piece, 16) for piece in pieces)
    except ValueError:
        return None
    return None if any(byte & ~mask for byte, mask in zip(value, asked.masks, strict=True)) else value


def _example(asked: Map) -> str:
    return f"{_key(asked, bytes(len(asked.at)))}:{'1mV' if COUNT in asked.asked else 'm'}"


def _known_unit(profile: FrameProfile, asked: Map, value: bytes) -> str:
    """The unit that other maps say of the same bytes; '' for none."""
    at = dict(zip(asked.at, zip(value, asked.masks, strict=True), strict=True))
    for one in profile.displays[0].maps:
        if one is not asked and set(one.at) <= at.keys():
            for known, words in one.values.items():
                alike = (at[n][0] == byte & at[n][1] for n, byte in zip(one.at, known, strict=True))
                if all(alike):
                    return next((unit for unit in _MEASURED_IN if unit in words), "")
    return ""


def _words(answer: str, asked: Map, unit: str, address: Address) -> frozenset[str]:
    words = set()
    for text in answer.split():
        if text in asked.asked and text != COUNT:
            words.add(text)
        elif text != NOTHING and COUNT in asked.asked and text[0].isdecimal():
            words.add(_power(text, unit, address))
        elif text != NOTHING:
            known = [word for word in (*asked.asked, NOTHING) if word != COUNT]
            amount = "an amount such as 1mV, or " if COUNT in asked.asked else ""
            raise AddressError(
                f"in '{address}' told can say {amount}{', '.join(known)}, not '{text}'{did_you_mean(text, known)}"
            )
    return frozenset(words)


def _power(text: str, unit: str, address: Address) -> str:
    """The word for one count of that amount."""
    try:
        amount, base = typed_amount(text.replace("degF", "degC"))  # one count of either is a power of ten
    except UsageError as error:
        raise AddressError(f"in '{address}' told cannot be read: {error}") from None
    if unit and base != unit.replace("degF", "degC"):
        raise AddressError(f"in '{address}' told says '{text}' of bytes that say {unit}")
    power = round(math.log10(amount)) if amount > 0 else MOST_POWER + 1
    if not LEAST_POWER <= power <= MOST_POWER or not math.isclose(amount, 10.0**power, rel_tol=1e-9):
        raise AddressError(f"in '{address}' one count is a power of ten, such as 1mV or 0.1ohm, not '{text}'")
    return f"e{power}"
