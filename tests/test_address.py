"""Addresses: what can be typed, what comes back, and what is said about what cannot."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlog.address import Address
from meterlog.errors import AddressError


@pytest.mark.parametrize(
    ("text", "scheme", "target", "options"),
    [
        (
            "segments14:/dev/ttyUSB0?label=pump+feed",
            "segments14",
            "/dev/ttyUSB0",
            {"label": "pump feed"},
        ),
        ("scpi:/dev/ttyUSB1?baud=9600", "scpi", "/dev/ttyUSB1", {"baud": "9600"}),
        ("text:COM7?profile=two-column", "text", "COM7", {"profile": "two-column"}),
        ("text:socket://127.0.0.1:4001", "text", "socket://127.0.0.1:4001", {}),
        ("text:rfc2217://host:2217", "text", "rfc2217://host:2217", {}),
        ("ble:AA:BB:CC:DD:EE:FF?decoder=status14", "ble", "AA:BB:CC:DD:EE:FF", {"decoder": "status14"}),
        ("sim:healthy-prime?seed=7&interval_s=0.33", "sim", "healthy-prime", {"seed": "7", "interval_s": "0.33"}),
        ("replay:my file.raw?speed=10", "replay", "my file.raw", {"speed": "10"}),
        (r"replay:C:\logs\a.raw", "replay", r"C:\logs\a.raw", {}),
        ("auto:/dev/ttyUSB0?", "auto", "/dev/ttyUSB0", {}),
        ("  auto:/dev/ttyUSB0 ", "auto", "/dev/ttyUSB0", {}),
        ("replay:odd%3Fname.raw", "replay", "odd?name.raw", {}),
        ("text:x?accuracy=0.8%25%2B3", "text", "x", {"accuracy": "0.8%+3"}),
    ],
)
def test_an_address_comes_apart(text: str, scheme: str, target: str, options: dict[str, str]) -> None:
    address = Address.parse(text)
    assert (address.scheme, address.target, dict(address.options)) == (scheme, target, options)
    assert Address.parse(str(address)) == address


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is not an address: write DRIVER:PORT"),
        ("/dev/ttyUSB0", "is not an address"),
        ("COM7", "is not an address"),
        ("Text:COM7", "is not an address"),
        ("text:COM7?profile", "the option 'profile' must have the form name=value"),
        ("text:COM7?=x", "must have the form name=value"),
        ("text:COM7?a=1&a=2", "the option 'a' is given twice"),
        ("text:COM7?profile=a%00b.toml", "%00 is a character"),
    ],
)
def test_what_is_no_address_is_said_in_one_sentence(text: str, message: str) -> None:
    with pytest.raises(AddressError, match=message):
        Address.parse(text)


TEXT = st.text(st.characters(exclude_characters="\0"), max_size=5)


@given(
    st.from_regex(r"[a-z][a-z0-9-]*", fullmatch=True),
    st.text(st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp", "Zs"]), min_size=1),
    st.dictionaries(TEXT.filter(bool), TEXT, max_size=3),
)
def test_any_address_comes_back_from_its_text(scheme: str, target: str, options: dict[str, str]) -> None:
    options = {
        k.encode("utf-8", "ignore").decode() or "k": v.encode("utf-8", "ignore").decode() for k, v in options.items()
    }
    address = Address(scheme, target, options)
    again = Address.parse(str(address))
    assert (again.scheme, again.target, dict(again.options)) == (scheme, target, options)


def test_numbers_and_choices_are_checked() -> None:
    address = Address.parse("sim:x?speed=10&mode=slow&bad=ten")
    assert address.number("speed", 1.0) == 10.0
    assert address.number("absent", 1.5) == 1.5
    assert address.choice("mode", ("slow", "fast"), "fast") == "slow"
    assert address.choice("absent", ("slow", "fast"), "fast") == "fast"
    for option, least, most in (("bad", 0.0, 20.0), ("speed", 11.0, 20.0), ("speed", 0.0, 9.0)):
        with pytest.raises(AddressError, match=f"the option {option} must be a number from"):
            address.number(option, 1.0, least=least, most=most)
    with pytest.raises(AddressError, match="mode must be one of quick, fast, not 'slow'"):
        address.choice("mode", ("quick", "fast"), "fast")


@pytest.mark.parametrize("text", ["nan", "inf", "-inf", "1e999", ""])
def test_no_option_is_a_number_that_is_none(text: str) -> None:
    with pytest.raises(AddressError):
        Address.parse(f"sim:x?speed={text}").number("speed", 1.0, most=1e6)
