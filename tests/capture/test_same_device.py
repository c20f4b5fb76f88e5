"""A device that is given twice is refused, however its two addresses are spelled; what can be shared is not."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.address import Address
from meterlog.capture import meter_setups
from meterlog.capture.same_device import check_each_once
from meterlog.errors import UsageError


def check(*texts: str) -> None:
    check_each_once([Address.parse(text) for text in texts])


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("text:socket://localhost:5025", "status14:socket://127.0.0.1:5025"),
        ("text:socket://LOCALHOST:5025", "text:socket://[::1]:5025"),
        ("text:socket://192.0.2.7:5025?label=a", "text:rfc2217://192.0.2.7:5025?label=b"),
        ("ble:AA:BB:CC:DD:EE:FF?decoder=status14", "ble:aa:bb:cc:dd:ee:ff?decoder=digits14"),
        ("text:COM7", "status14:com7"),
        ("text:/dev/ttyUSB0", "status14:/dev/../dev/ttyUSB0"),
    ],
)
def test_two_spellings_of_one_device_are_refused_in_one_sentence(one: str, other: str) -> None:
    with pytest.raises(UsageError, match="are the same device: give each meter once") as refused:
        check(one, "text:/dev/ttyS9", other)
    assert one in str(refused.value)
    assert other in str(refused.value)


def test_a_link_to_a_port_is_the_port(tmp_path: Path) -> None:
    link = tmp_path / "by-id"
    link.symlink_to("/dev/null")
    with pytest.raises(UsageError, match="same device"):
        check("text:/dev/null", f"text:{link}")


def test_different_devices_files_and_simulations_are_taken() -> None:
    check("text:socket://127.0.0.1:5025", "text:socket://127.0.0.1:5026", "text:socket://127.0.0.2:5025")
    check("ble:AA:BB:CC:DD:EE:FF", "ble:AA:BB:CC:DD:EE:FE")
    check("replay:a.sqlite?speed=2", "replay:a.sqlite")
    assert len(meter_setups(["sim:healthy-prime", "sim:healthy-prime"])) == 2
