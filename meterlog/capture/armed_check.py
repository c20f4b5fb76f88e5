"""Tells a condition that can never come true with the meters given, as early as that can be known."""

from __future__ import annotations

from collections.abc import Sequence

from meterlog.capture.channels import LiveChannel
from meterlog.capture.meters import MeterSetup
from meterlog.condition import Condition
from meterlog.errors import UsageError, did_you_mean


def check_channel(condition: Condition, meters: Sequence[MeterSetup]) -> None:
    """Refuse a condition on a channel that these meters will not have.

    Raises:
        UsageError: its label is none of theirs, or its number is beyond them.
    """
    wanted = condition.channel
    if not wanted or any(meter.may_show(wanted) for meter in meters) or _may_be_number(wanted, meters):
        return
    labels = [meter.label(column) for meter in meters for column in range(meter.columns_named)]
    listed = ", ".join(f"{number} {label}" for number, label in enumerate(labels, 1))
    raise UsageError(
        f"'{condition.text}' waits for the channel '{wanted}', which none of these meters has"
        f"{did_you_mean(wanted, labels)}; there will be {listed}"
    )


def _may_be_number(text: str, meters: Sequence[MeterSetup]) -> bool:
    if not (text.isascii() and text.isdecimal() and int(text)):
        return False
    counts = [meter.columns for meter in meters]
    return None in counts or int(text) <= sum(count or 0 for count in counts)


def unwatched(condition: Condition, meters: Sequence[MeterSetup], channels: Sequence[LiveChannel]) -> str:
    """Say that none of the channels so far can make the condition come true, once no silent meter may do so.

    Returns:
        One sentence; '' where a channel is watched, or a meter that may be has not spoken yet.
    """
    if any(condition.concerns(one.number, one.label, one.quantity) for one in channels):
        return ""
    spoken = {channel.meter for channel in channels}
    if any(_may_watch(condition, number, meter) for number, meter in enumerate(meters) if number not in spoken):
        return ""
    shown = ", ".join(f"{channel.label} shows {channel.quantity.words}" for channel in channels)
    return f"'{condition.text}' cannot come true: {shown}; turn the dial, or end this and give another condition"


def _may_watch(condition: Condition, number: int, meter: MeterSetup) -> bool:
    wanted = condition.channel
    return not wanted or wanted == str(number + 1) or meter.may_show(wanted)
