"""Checks when the readings are said to fit nothing in the circuit, and when they are not."""

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.readings.measurement import Measurement

TOOL = Diagnoser(load_circuit("pump-feed"))


def volts(at: str, value: float) -> Measurement:
    return Measurement("voltage", at, value=value)


WORKS = [volts("fuse_out", 12.3), volts("plug_feed", 12.1), volts("pump_plus", 12.0), volts("pump_minus", 0.05)]
NOTHING_LIKE_IT = [
    volts("fuse_out", 12.3),
    volts("plug_feed", 5.1),
    volts("pump_plus", 9.2),
    volts("body", 3.3),
    volts("relay_out", 2.2),
]


def test_voltages_that_rise_along_the_feed_fit_nothing_and_name_no_part_for_sure() -> None:
    found = TOOL.diagnose(NOTHING_LIKE_IT, suggestions=0)
    assert found.verdict.startswith("these readings fit nothing in this circuit")
    assert found.decided == ""
    assert found.as_json()["outside"] == round(found.outside, 4)


def test_a_circuit_that_works_and_one_bad_reading_in_it_do_not_fit_nothing() -> None:
    for measured in (WORKS, [*WORKS, volts("relay_out", 0.0)]):
        found = TOOL.diagnose(measured, suggestions=0)
        assert found.outside < 0.1
        assert "fit nothing" not in found.verdict


def test_a_contact_that_was_not_seen_to_fail_keeps_nobody_from_an_end() -> None:
    more = [
        Measurement("current", "fuse", value=4.9),
        Measurement("voltage", "pump_plus", "pump_minus", value=11.95),
        Measurement("voltage", "pump_plus", "pump_minus", "crank", value=10.35),
        Measurement("voltage", "pump_minus", state="crank", value=0.04),
        Measurement("voltage", "battery_plus", state="crank", value=10.6),
        Measurement("voltage", "relay_out", state="off", value=0.0),
        Measurement("voltage", "relay_out", state="off", value=0.0),
        Measurement("voltage", "relay_coil", state="run", value=13.8),
    ]
    found = TOOL.diagnose([*WORKS, *more])
    assert found.healthy < 0.9 <= found.healthy + found.comes_and_goes
    assert found.decided == "healthy"
    assert found.next == ()


def test_a_place_that_reads_otherwise_the_second_time_speaks_for_a_contact_and_not_for_a_wrong_drawing() -> None:
    volts_in = [
        ("fuse_out", "key_on", 0.0),
        ("fuse_out", "key_on", 12.3),
        ("body", "key_on", 0.05),
        ("relay_out", "key_on", 0.0),
        ("fuse_out", "crank", 9.9),
        ("body", "crank", 0.01),
        ("relay_out", "crank", 0.0),
        ("relay_out", "crank", 11.0),
    ]
    drops = [("key_on", 0.01), ("crank", -0.02)]
    found = TOOL.diagnose(
        [
            *(Measurement("voltage", at, state=state, value=value) for at, state, value in volts_in),
            *(Measurement("voltage_drop", "fuse_out", "relay_out", state, value=value) for state, value in drops),
            Measurement("current", "fuse", value=0.0),
        ],
        suggestions=0,
    )
    assert found.outside < 0.5
    assert "fit nothing" not in found.verdict
    assert (found.hypotheses[0].part, found.hypotheses[0].fault) == ("plus_clamp", "intermittent")


def test_where_nothing_fits_the_likeliest_part_is_still_named() -> None:
    in_crank = {"fuse_out": 3.1, "plug_feed": 10.9, "pump_plus": 6.0, "body": 5.2}
    more = [Measurement("voltage", at, state="crank", value=value) for at, value in in_crank.items()]
    found = TOOL.diagnose([*NOTHING_LIKE_IT, *more], suggestions=0)
    assert found.outside > 0.99
    assert len(found.hypotheses) == 1
    assert found.verdict.startswith("these readings fit nothing in this circuit")


def test_what_a_stretch_on_nothing_picks_up_each_time_again_speaks_for_no_current() -> None:
    """The relay does not close at key-on in this vehicle, and its ground is open: the meter shows the same small drop
    as often as it is read, and no ampere flows."""
    more = [
        volts("fuse_out", 12.8),
        Measurement("current", "fuse", value=0.02),
        volts("relay_out", 0.01),
        Measurement("voltage", "relay_out", state="crank", value=10.8),
    ]
    drops = [Measurement("voltage_drop", "fuse_out", "relay_out", value=value) for value in (0.09, 0.08, 0.1, 0.09)]
    once, again = (TOOL.diagnose([*some, *more], suggestions=0) for some in (drops[:1], drops))
    assert again.outside < 2 * once.outside
    assert again.healthy < 0.05
