"""The options that `diagnose` and `report` share, and the circuit, measurements and trials that they name."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

from meterlog.cli.options.key_answers import key_answers

if TYPE_CHECKING:
    from meterlog.circuit.cost import Money
    from meterlog.circuit.diagnosis import Diagnoser
    from meterlog.circuit.model.circuit import Circuit
    from meterlog.circuit.readings.measurement import Measurement
    from meterlog.circuit.readings.trial import Told


def add_case_arguments(parser: argparse.ArgumentParser, *, required: bool) -> None:
    """Declare `--circuit` and what goes with it."""
    parser.add_argument("--circuit", required=required, metavar="FILE", help="a circuit file, or a template's name")
    parser.add_argument("--measured", metavar="FILE", help="a TOML file with 'measured', 'tried' and 'observed'")
    parser.add_argument(
        "--complaint",
        metavar="WORDS",
        help="what the driver says, for example 'cranks, does not start'; 'dead': the load does not work at all",
    )
    parser.add_argument(
        "--tool", choices=("meter", "lamp"), default="meter", help="what you have to read with; lamp: a test lamp alone"
    )
    parser.add_argument("--rate", metavar="X", type=float, help="price of an hour of work, in your own currency")
    parser.add_argument(
        "--price", metavar="PART=X", action="append", default=[], help="what a new part costs; may come again"
    )
    parser.add_argument("--rates", metavar="FILE", help="your own fault rates (TOML, name = number)")


def make_diagnoser(args: argparse.Namespace) -> Diagnoser:
    """Make the diagnoser of the circuit, the rates and the complaint that were given.

    Raises:
        CircuitError: a file cannot be used.
        UsageError: nobody knows the complaint.
    """
    from meterlog.circuit.diagnosis import Diagnoser
    from meterlog.circuit.faults.fault_rates import Rates, load_rates
    from meterlog.circuit.model.circuit_file import load_circuit
    from meterlog.cli.terminal.complaint_questions import known_complaint

    circuit = load_circuit(args.circuit)
    rates = load_rates(args.rates, circuit) if args.rates else Rates()
    dead = "dead" if args.complaint == "dead" else ""
    engine_runs = not args.complaint or bool(dead) or known_complaint(args.complaint).engine_runs
    money = _money(args, circuit)
    return Diagnoser(circuit, rates, complaint=dead, tool=args.tool, money=money, engine_runs=engine_runs)


def _money(args: argparse.Namespace, circuit: Circuit) -> Money:
    """Return what things cost: as said here, else as the settings have it.

    Raises:
        UsageError: a price is none, or of a part that the circuit does not have.
        SettingsError: the settings cannot be understood.
    """
    from meterlog.circuit.cost import HOURLY_RATE, PRICE, check_priced, entered_money
    from meterlog.details import check_numbers
    from meterlog.settings import read_settings

    entered = dict(key_answers(args.price, "relay=12"))
    check_priced(entered, circuit, "--price")
    said = {f"{PRICE}{part}": price for part, price in entered.items()}
    said |= {} if args.rate is None else {HOURLY_RATE: f"{args.rate:f}"}
    check_numbers(said)
    usual = read_settings()
    return entered_money(said, usual.hourly_rate, usual.currency)


def looks(words: Sequence[str], circuit: Circuit) -> tuple[list[Measurement], list[Told]]:
    """Read the `KEY=ANSWER` of `--look`: a lamp is a reading, all else an observation.

    Raises:
        CircuitError: naming the key or the answer.
        UsageError: there is no `=`.
    """
    from meterlog.circuit.readings.from_file import measured_from_table

    observed = dict(key_answers(words, "relay_clicks=no"))
    return measured_from_table({"observed": observed}, circuit, "--look")


def collect(args: argparse.Namespace, circuit: Circuit) -> tuple[list[Measurement], list[Told], list[str]]:
    """Collect the measurements and trials of the circuit file, `--measured` and the sessions; and what was left out.

    Raises:
        MeterlogError: a file cannot be used.
    """
    from meterlog.circuit.readings.from_file import load_measured, refuse_too_many
    from meterlog.circuit.readings.from_session import measurements_from_sessions
    from meterlog.circuit.readings.halves import unsaid

    measured, tried = load_measured(args.circuit, circuit)
    if args.measured:
        more, more_tried = load_measured(args.measured, circuit, templates=False)
        measured, tried = measured + more, tried + more_tried
    more, left_out = measurements_from_sessions(args.sessions, circuit)
    measured += more
    refuse_too_many(measured, circuit)
    left_out += unsaid(circuit, measured)
    return measured, tried, left_out
