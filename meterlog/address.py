"""Addresses: URIs that say how to reach a meter, `scheme:target?option=value`."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from urllib.parse import quote, quote_plus, unquote, unquote_plus

from meterlog.errors import AddressError
from meterlog.text.typed import typed_number

_PLAIN = ":,;@"
"""Says what stands in an option as it is: lists of them can be read then, and RFC 3986 lets it stand in a query."""
_SCHEME = re.compile(r"[a-z][a-z0-9-]*")


@dataclass(frozen=True, slots=True)
class Address:
    """An address taken apart. `str()` gives it back.

    Attributes:
        scheme: the driver's name.
        target: what the driver opens: a port, a `socket://` URL, a Bluetooth address, a file, a scenario.
        options: the query parameters, each at most once.
    """

    scheme: str
    target: str
    options: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    @classmethod
    def parse(cls, text: str) -> Address:
        """Take an address apart.

        A `?` or `%` that belongs to the target is written `%3F`, `%25`; a space in an option is `+` or `%20`.

        Raises:
            AddressError: no scheme, an option without `=`, an option given twice, or a null character.
        """
        scheme, colon, rest = text.strip().partition(":")
        if not colon or not _SCHEME.fullmatch(scheme):
            port = text.strip() or "/dev/ttyUSB0"
            raise AddressError(
                f"'{text}' is not an address: write DRIVER:PORT; auto:{port} finds the driver by listening"
                " ('meterlog meters' lists the ports, 'meterlog meters --drivers' the drivers)"
            )
        if "\0" in unquote(rest):
            raise AddressError(f"in the address '{text}' %00 is a character that no port's or file's name can contain")
        target, _, query = rest.partition("?")
        options: dict[str, str] = {}
        for part in filter(None, query.split("&")):
            key, equals, value = part.partition("=")
            if not equals or not key:
                raise AddressError(f"in the address '{text}' the option '{part}' must have the form name=value")
            if key in options:
                raise AddressError(f"in the address '{text}' the option '{key}' is given twice")
            options[unquote_plus(key)] = unquote_plus(value)
        return cls(scheme, unquote(target), MappingProxyType(options))

    def __str__(self) -> str:
        query = "&".join(f"{quote_plus(k)}={quote_plus(v, safe=_PLAIN)}" for k, v in self.options.items())
        target = quote(self.target, safe="/:\\@,;+=()[]~!$'* ")
        return f"{self.scheme}:{target}" + (f"?{query}" if query else "")

    def number(self, option: str, default: float, *, least: float = 0.0, most: float = float("inf")) -> float:
        """An option as a number.

        Raises:
            AddressError: it is not a number, or outside least..most.
        """
        text = self.options.get(option)
        if text is None:
            return default
        try:
            value = typed_number(text) if "," in text else float(text)
        except ValueError:
            value = float("nan")
        if not least <= value <= most:
            raise AddressError(
                f"in '{self}' the option {option} must be a number from {least:g} to {most:g}, not '{text}'"
            )
        return value

    def choice(self, option: str, choices: Mapping[str, object] | tuple[str, ...], default: str) -> str:
        """An option that is one of a few words.

        Raises:
            AddressError: it is none of them.
        """
        text = self.options.get(option, default)
        if text not in choices:
            raise AddressError(f"in '{self}' the option {option} must be one of {', '.join(choices)}, not '{text}'")
        return text
