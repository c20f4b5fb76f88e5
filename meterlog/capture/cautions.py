"""The trade's usual cautions, by what is measured. Shown before the first reading, in reports and on the page."""

from __future__ import annotations

from meterlog.reading import Quantity

GENERAL = (
    "Fuel vapour burns: no lamp, no spark, no smoking near an open tank or line.",
    "Fuel rail pressure stays after switching off, and disconnecting the battery does not release it.",
    "The vehicle may move when cranked: room ahead, brake on, neutral. Leads clear of belts and fan.",
    "Never probe or load-test airbag or belt circuits. High-voltage hybrid and electric cables are out of scope.",
    "The vehicle's own service information, local codes and licensed practice come first.",
)
"""For every measurement. All but the last from makers' manuals, except cables, belts and fan (a named practitioner)."""

_PROBING = (
    "Back-probe without spreading the terminals: no paper clips, and not on sealed or micro connectors. A back-probed"
    " 0 V cannot be told from a probe that does not touch: never judge by one point."
)
_CRANKING = "Crank 15 to 30 seconds at most, then let the starter rest 2 minutes."
_DEAD_CIRCUIT = (
    "Ohms, continuity and diode only with the circuit switched off and isolated: a foreign voltage falsifies the"
    " reading or damages the meter."
)
_INERTIA_SWITCH = "Do not reset an inertia switch before checking for leaks."
_CURRENT_JACK = (
    "Leads left in the current jack are a short across the battery: move them back before measuring volts. The meter's"
    " own fuse is typically 10 A, and blown it makes a good pump look dead; a clamp is safer where more may flow."
)
_CATEGORY = (
    "The meter's CAT marks are for mains circuits; the lowest-rated part in use, leads and clips too, sets the limit."
)

_BY_QUANTITY = {
    Quantity.DC_VOLTAGE: (_PROBING, _CRANKING, _INERTIA_SWITCH),
    Quantity.AC_VOLTAGE: (_PROBING, _CATEGORY),
    Quantity.DC_CURRENT: (_CURRENT_JACK, _CRANKING),
    Quantity.AC_CURRENT: (_CURRENT_JACK, _CATEGORY),
    Quantity.RESISTANCE: (_DEAD_CIRCUIT, _INERTIA_SWITCH),
    Quantity.CONTINUITY: (_DEAD_CIRCUIT, _INERTIA_SWITCH),
    Quantity.DIODE: (_DEAD_CIRCUIT,),
    Quantity.CAPACITANCE: (_DEAD_CIRCUIT,),
    Quantity.FREQUENCY: (_PROBING,),
    Quantity.DUTY_CYCLE: (_PROBING,),
    Quantity.TEMPERATURE: (),
}


def cautions(quantity: Quantity) -> tuple[str, ...]:
    """What to mind when measuring this quantity, beside `GENERAL`."""
    return _BY_QUANTITY[quantity]
