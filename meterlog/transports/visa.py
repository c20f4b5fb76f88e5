"""Instruments over USB and LAN by VISA (the resource names of IVI VPP-4.3), on pyvisa: `USB0::...`, `TCPIP::...`."""

from __future__ import annotations

import contextlib
import re
import time
from typing import Any

from meterlog.errors import AddressError, LinkAbsent, LinkLost
from meterlog.transports.contract import Chunk, Link

_RESOURCE = re.compile(r"(USB|TCPIP|GPIB|VXI|PXI|ASRL)[^:]*::.+", re.IGNORECASE)
_LEAST_WAIT_MS = 20
"""Shortest timeout of a read, ms: a shorter one cuts transfers in two on USB (a guess)."""


def is_resource(target: str) -> bool:
    """Tell whether a target is a VISA resource name."""
    return _RESOURCE.fullmatch(target) is not None


class VisaTransport:
    """An instrument that can be opened again and again.

    Attributes:
        byte_time_s: 0, since what lies between is no wire of one speed.
    """

    byte_time_s = 0.0

    def __init__(self, resource: str) -> None:
        """Nothing is opened yet."""
        self._resource = resource

    @property
    def name(self) -> str:
        """The resource name."""
        return self._resource

    def open(self) -> Link:
        """Open it by the system's VISA library where one is installed, by pyvisa-py otherwise.

        Raises:
            LinkAbsent: nothing answers there.
            AddressError: it is no resource name.
        """
        return VisaLink(self._resource)


class VisaLink:
    """An open instrument."""

    def __init__(self, resource: str) -> None:
        import pyvisa

        self._name = resource
        self._errors: tuple[type[Exception], ...] = (pyvisa.errors.Error, OSError)
        self._in_vain = pyvisa.constants.StatusCode.error_timeout
        try:
            manager = pyvisa.ResourceManager()
        except (ValueError, OSError):
            manager = pyvisa.ResourceManager("@py")
        try:
            self._instrument: Any = manager.open_resource(resource, read_termination="\n", write_termination="")
        except pyvisa.errors.InvalidSession as error:
            raise LinkAbsent(f"{resource} cannot be opened: {error}", resource) from error
        except ValueError as error:
            raise AddressError(f"'{resource}' is no VISA resource that can be opened: {error}") from error
        except self._errors as error:
            raise LinkAbsent(f"nothing can be reached as {resource}: {error}", resource) from error

    def read(self, timeout_s: float) -> Chunk | None:
        """See `Link.read`; a chunk ends with a line or with the instrument's own end of message."""
        import pyvisa

        try:
            self._instrument.timeout = max(_LEAST_WAIT_MS, 1000 * timeout_s)
            data = self._instrument.read_raw()
        except pyvisa.errors.VisaIOError as error:
            if error.error_code == self._in_vain:
                return None
            raise self._lost(error) from error
        except self._errors as error:
            raise self._lost(error) from error
        # An end of message without a line end ends the line all the same.
        return Chunk(data if data.endswith(b"\n") else data + b"\n", time.monotonic())

    def write(self, data: bytes) -> None:
        """See `Link.write`."""
        try:
            self._instrument.write_raw(data)
        except self._errors as error:
            raise self._lost(error) from error

    def close(self) -> None:
        """Let go of it."""
        with contextlib.suppress(*self._errors):
            self._instrument.close()

    def _lost(self, error: Exception) -> LinkLost:
        return LinkLost(f"{self._name} is gone: {error}", self._name)
