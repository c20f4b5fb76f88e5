"""Fault rates of one's own: what they change, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.faults.fault_rates import Rates, load_rates
from meterlog.circuit.next_measurement.access import minutes_for
from meterlog.circuit.readings.measurement import Measurement
from meterlog.errors import CircuitError

CIRCUIT = load_circuit("pump-feed")


def test_a_file_of_rates_makes_a_part_more_likely(tmp_path: Path) -> None:
    """Fuse and clamp are left: full voltage before both, none after both."""
    (tmp_path / "mine.toml").write_text("fuse = 0.01\nplus_clamp = 50\n")
    rates = load_rates(tmp_path / "mine.toml", CIRCUIT)
    assert rates.source == str(tmp_path / "mine.toml")
    readings = [Measurement("voltage", "battery_plus", value=12.5), Measurement("voltage", "fuse_out", value=0.0)]
    usual, mine = (Diagnoser(CIRCUIT, rates=r).diagnose(readings) for r in (Rates(), rates))
    assert usual.hypotheses[0].part == "fuse"
    assert mine.hypotheses[0].part == "plus_clamp"
    assert mine.rates_source == str(tmp_path / "mine.toml")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("fuze = 1", r"'fuze' is not a kind, part or command.*fuse"),
        ("fuse = -1", "'fuse' must be a number from 0 up, not -1"),
        ("fuse = true", "'fuse' must be a number from 0 up, not True"),
        ('fuse = "often"', "'fuse' must be a number from 0 up, not 'often'"),
        ("fuse = 1e6", "'fuse' must be a number from 0 up"),
        ("fuse =", "is not TOML"),
    ],
)
def test_a_wrong_file_of_rates_is_one_sentence(text: str, message: str, tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(text)
    with pytest.raises(CircuitError, match=message) as caught:
        load_rates(tmp_path / "mine.toml", CIRCUIT)
    assert str(tmp_path / "mine.toml") in str(caught.value)
    with pytest.raises(CircuitError, match="there is no file"):
        load_rates(tmp_path / "none.toml", CIRCUIT)


def test_minutes_are_those_of_the_harder_place_and_of_what_must_be_done_besides() -> None:
    plain = minutes_for(CIRCUIT, Measurement("voltage", "plug_feed"), [])
    for harder, more in (
        (Measurement("voltage", "plug_feed", state="crank"), 2.0),
        (Measurement("voltage", "plug_feed", load="lamp"), 2.0),
        (Measurement("voltage", "plug_feed", load="unplugged"), 2.0),
        (Measurement("current", "plug_feed", "plug_feed"), 3.0),
        (Measurement("resistance", "plug_feed", state="isolated"), 4.0),
    ):
        assert minutes_for(CIRCUIT, harder, []) == plain + more
    assert minutes_for(CIRCUIT, Measurement("voltage", "plug_feed", "fuse_out"), []) == plain
    assert minutes_for(CIRCUIT, Measurement("voltage", "plug_feed"), [Measurement("voltage", "plug_feed")]) == 1.0
