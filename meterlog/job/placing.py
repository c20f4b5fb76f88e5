"""Tells the address of a job's meter where its probes are, for the recording and for a meter that moves them itself."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

from meterlog.address import Address
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.unplugged import names
from meterlog.driver import load_driver
from meterlog.job.job import Job

MOVED = ("quantity", "at", "to", "state", "load", "side")
"""Options that move the probes of a simulated vehicle, and what is done with its key and plug."""


def placed(address: Address, m: Measurement, job: Job) -> Address:
    """The address with the place as its test point.

    A simulated vehicle, which the job measures without a person, is told the place, what was put right, and how often
    the key was turned before.

    Args:
        address: of the meter, as the job has it.
        m: what is measured.
        job: its repairs and readings.
    """
    point = m.at if m.to == m.at or m.quantity == "current" else f"{m.at} to {m.to}"
    point += "" if m.load == "connected" else f"; {m.load}"
    point += "".join(f"; {name} unplugged" for name in names(m.unplugged))
    options = {**address.options, "point": f"{point}; {m.state}"}
    if load_driver(address.scheme).moves(address):
        row = {key: getattr(m, key) for key in MOVED if getattr(m, key)}
        done = ",".join(str(step.values["part"]) for step in job.of("repaired"))
        options |= row | {"turn": str(len(job.of("measured")))} | ({"repaired": done} if done else {})
    return replace(address, options=MappingProxyType(options))
