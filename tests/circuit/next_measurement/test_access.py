"""Minutes of a way: nobody walks it twice, whatever the place is called."""

from meterlog.circuit import load_circuit
from meterlog.circuit.next_measurement.access import READ_MIN, minutes_for, reach_min
from meterlog.circuit.readings.measurement import Measurement

CIRCUIT = load_circuit("pump-feed")


def test_the_second_reading_of_a_coil_walks_no_way() -> None:
    coil = Measurement("voltage", "relay_coil", state="key_on", at_coil=True)
    assert minutes_for(CIRCUIT, coil, []) > READ_MIN
    assert minutes_for(CIRCUIT, coil, [coil]) == READ_MIN


def test_a_relay_its_coil_and_the_point_behind_it_are_one_place() -> None:
    behind = Measurement("voltage", "relay_out")
    coil = Measurement("voltage", "relay_coil", at_coil=True)
    assert reach_min(CIRCUIT, "relay", []) == reach_min(CIRCUIT, "relay_coil", [])
    for first in (behind, coil):
        assert reach_min(CIRCUIT, "relay", [first]) == 0.0
        assert reach_min(CIRCUIT, "relay_coil", [first]) == 0.0


def test_from_a_plug_there_is_still_the_rest_of_the_way_to_what_hangs_on_it() -> None:
    load = CIRCUIT.parts[CIRCUIT.load]
    behind = next(p for p in CIRCUIT.points if p.after == load.id)
    rest = reach_min(CIRCUIT, load.id, [Measurement("voltage", behind.id)])
    assert rest == max(load.access_min - behind.access_min, 0.0)


def test_an_engine_is_not_started_for_nothing() -> None:
    standing, running = (Measurement("voltage", "relay_out", state=state) for state in ("key_on", "run"))
    assert minutes_for(CIRCUIT, running, []) > minutes_for(CIRCUIT, standing, [])
