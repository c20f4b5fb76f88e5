"""A plug that water gets into: what the file says, how it is drawn and judged, and that a leak is found and named."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.circuit import Circuit, load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.faults.cells import FAULTS, first_healthy
from meterlog.circuit.model.chain_text import chain_lines
from meterlog.circuit.model.circuit_file import circuit_from_table, template_text
from meterlog.circuit.model.oddities import oddities
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.observed import Observed
from meterlog.errors import CircuitError
from meterlog.text.toml import parse_toml

PUMP = load_circuit("pump-feed")
LEAKS = 'leaks_to = "plug_ground"'


def pump_with(*changes: tuple[str, str]) -> Circuit:
    text = template_text("pump-feed").decode()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return circuit_from_table(parse_toml(text.encode(), "pump", CircuitError).values, "pump")


@pytest.fixture(scope="module")
def diagnoser() -> Diagnoser:
    return Diagnoser(PUMP)


def ohms(value: float) -> Measurement:
    return Measurement("resistance", "plug_feed", "plug_ground", "isolated", "unplugged", value, side="harness")


def test_a_wet_plug_is_drawn() -> None:
    assert any("connector, when wet, leaks to plug_ground" in line for line in chain_lines(PUMP))
    assert oddities(PUMP) == []


@pytest.mark.parametrize(
    ("new", "said"),
    [
        ('leaks_to = "plug_grund"', "part 'plug_feed_pin': 'leaks_to' must be a point.*near it: plug_ground"),
        ('leaks_to = "pump"', "'leaks_to' must be a point, not 'pump'"),
        ('leaks_to = "pump_plus"', "leaks to 'pump_plus', which is its own end"),
        ("leaks_to = 3", "'leaks_to' must be text in quotes"),
        ('rating_a = 3, leaks_to = "plug_ground"', "'rating_a' is what is printed on a fuse"),
    ],
)
def test_a_leak_that_cannot_be_is_refused(new: str, said: str) -> None:
    with pytest.raises(CircuitError, match=said):
        pump_with((LEAKS, new))


def test_only_a_connector_leaks() -> None:
    fuse = 'id = "fuse", kind = "fuse"'
    with pytest.raises(CircuitError, match="'leaks_to' says where water in a connector leads to; this is a fuse"):
        pump_with((fuse, f"{fuse}, {LEAKS}"))


def test_a_leak_that_no_reading_would_show_is_odd() -> None:
    found = oddities(pump_with((LEAKS, 'leaks_to = "fuse_out"')))
    assert any("'plug_feed_pin' leaks to 'fuse_out' on its own side of the load" in one for one in found)
    in_c1 = (LEAKS, f'{LEAKS}, connector = "C1"')
    assert pump_with(in_c1).points == PUMP.points
    other = pump_with(in_c1, ('id = "plug_ground", after', 'id = "plug_ground", connector = "C2", after'))
    assert any("from contact to contact of one connector" in one for one in oddities(other))


@pytest.mark.parametrize("value", [25.0, 90.0, 400.0, 1500.0])
def test_a_leak_between_the_harness_contacts_is_named(diagnoser: Diagnoser, value: float) -> None:
    found = diagnoser.diagnose([Measurement("voltage", "plug_feed", value=12.2, error=0.05), ohms(value)])
    assert found.hypotheses[0].part == "plug_feed_pin"
    assert found.hypotheses[0].fault == "leaks"
    assert "leaks to another contact" in found.verdict


def test_an_open_reading_there_clears_it_and_water_that_is_seen_speaks_for_it(diagnoser: Diagnoser) -> None:
    leaks = diagnoser.cells.fault == FAULTS.index("leaks")
    nothing, dry = (float(diagnoser.weigh(known).weight[leaks].sum()) for known in ([], [ohms(np.inf)]))
    seen = float(diagnoser.weigh([], [Observed("water_in_plug", "yes")]).weight[leaks].sum())
    assert dry < nothing / 5 < nothing < seen


def test_unplugged_the_leak_alone_draws_what_ohms_law_says(diagnoser: Diagnoser) -> None:
    """12.4 V over 200 ohm of water are 62 mA through the fuse, and nothing where it is dry."""
    network, cells = diagnoser.network, diagnoser.cells
    amps = network.predict(Measurement("current", "fuse", load="unplugged")).mean
    wet = int(np.flatnonzero((cells.leak_ohm == 200.0) & (cells.ohm == cells.ohm[first_healthy(cells)]).all(axis=1))[0])
    assert amps[wet] == pytest.approx(12.4 / 200, rel=0.01)
    assert amps[first_healthy(cells)] == pytest.approx(0.0, abs=1e-6)
