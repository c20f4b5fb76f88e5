"""Whatever a file or an address holds, only our own errors come out; `tests.bench.faults` does this for longer."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlog.analysis import analyze
from meterlog.capture import meter_setup
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.circuit.readings.from_file import load_measured
from meterlog.cli.main import main
from meterlog.driver import driver_names
from meterlog.driver.framing import framing_of
from meterlog.errors import MeterlogError, UsageError
from meterlog.exchange.csv_export import export_csv
from meterlog.exchange.session_table_import import import_session_table, is_session_table
from meterlog.exchange.table.import_plan import make_plan
from meterlog.exchange.table.import_table import import_table
from meterlog.exchange.table.options import ImportOptions
from meterlog.exchange.table.remarks import Remarks
from meterlog.limits import load_limits
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from meterlog.session.contents import Contents
from meterlog.session.markers import add_marker, change_marker
from meterlog.transports.raw_capture import read_raw_capture
from tests.faults.test_fuzz_page import fuzz_page

ROOT = Path(__file__).parents[2]
TEMPLATES = sorted((ROOT / "meterlog/circuit/templates").glob("*.toml"))
LIMITS = sorted((ROOT / "meterlog/limits").glob("*.toml"))
PROFILES = sorted((ROOT / "drivers/meterlog_drivers/profiles").glob("*.toml"))
CAPTURES = sorted((ROOT / "recordings").glob("*.raw"))

_WORDS = (
    "a", "key-on", " ", "'", '"', ",", ";", "=", "+1", "-", "@", "\n", "\r", "\t", "\x00", "\x1b[31m", "é", "\u202e",
    "\ufeff", "漢", "<b>", "%s", "{x}", "x" * 300, "'=1", "\u2028", "crank",
)  # fmt: skip

_TOKEN = re.compile(r'"[^"\n]*"|[-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?|[A-Za-z_][\w-]*|[\[\]{}=,.]|\n')
_ODD = (
    '""', '"x"', "0", "-1", "1e308", "1e400", "nan", "inf", "-inf", "true", "[]", "{}", "[1, 2]", '["a", 3]', "\n",
    "99999999999999999999", '"\\u0000"', "2026-01-01", "0x7f", "=", "[", '"é"', "", '"("', '"%"', "1.5", '"12"',
)  # fmt: skip


def mutated(text: str, rng: random.Random) -> str:
    """A text with some of its tokens replaced, doubled, swapped or left out."""
    spans = [match.span() for match in _TOKEN.finditer(text)]
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        start, end = rng.choice(spans)
        if end > len(text):
            continue
        new = rng.choice((rng.choice(_ODD), rng.choice(_ODD), text[start:end] * 2, text[slice(*rng.choice(spans))]))
        text = text[:start] + new + text[end:]
    return text


def table_text(rng: random.Random) -> str:
    """Something like a table from elsewhere."""
    cells = ("12.41", "12,41", "OL", "", "0L.", "1e5", "-", "nan", "inf", "2026-03-01 08:00:00", "08:00", "1.2.3", '"')
    rows = ["time,value"[: rng.choice((10, 10, 4))]]
    for i in range(rng.randrange(1, 30)):
        first = f"{i * 0.3:.1f}" if rng.random() < 0.8 else rng.choice(cells)
        rows.append(rng.choice((",", ",", ",", ";", "\t")).join((first, rng.choice(cells))))
    return rng.choice(("\n", "\r\n", "\r")).join(rows)


def fuzz_circuit(rng: random.Random, folder: Path) -> None:
    """A circuit file, with what was measured in it."""
    path = folder / "c.toml"
    path.write_text(mutated(rng.choice(TEMPLATES).read_text("utf-8"), rng), "utf-8")
    circuit = load_circuit(path)
    measured, tried = load_measured(path, circuit)
    if rng.random() < 0.02:  # it takes a while
        Diagnoser(circuit).diagnose(measured, tried, suggestions=1)


def fuzz_limits(rng: random.Random, folder: Path) -> None:
    """A limits file."""
    path = folder / "l.toml"
    path.write_text(mutated(rng.choice(LIMITS).read_text("utf-8"), rng), "utf-8")
    load_limits(path, rng.choice((None, 12.0, 24.0, float("nan"), 0.0)))


def fuzz_profile(rng: random.Random, folder: Path) -> None:
    """A profile, and a decoder made of it."""
    path = folder / "p.toml"
    text = mutated(rng.choice(PROFILES).read_text("utf-8"), rng)
    path.write_text(text, "utf-8")
    scheme = "frames" if "frames" in text else "text"
    framing = framing_of(f"{scheme}:x?profile={path}")
    framing.decoder().feed(rng.randbytes(200) + b"12.41 V DC\r\n0L\r\n", 1.0)


def fuzz_capture(rng: random.Random, folder: Path) -> None:
    """A raw capture, and its replay."""
    path = folder / "c.raw"
    content = bytearray(rng.choice(CAPTURES).read_bytes()[: rng.randrange(20, 4000)])
    for _ in range(rng.randrange(4)):
        at = rng.randrange(len(content))
        content[at : at + rng.randrange(4)] = rng.randbytes(rng.randrange(4))
    path.write_bytes(content)
    read_raw_capture(path)
    connection = meter_setup(f"replay:{path}?speed=1e6").meter.open()
    try:
        for _ in range(200):
            if connection.read(0.0) is None:
                break
    finally:
        connection.close()


def fuzz_table(rng: random.Random, folder: Path) -> None:
    """A table from elsewhere."""
    path, out = folder / "t.csv", folder / "t.sqlite"
    path.write_text(table_text(rng), "utf-8", newline="")
    if is_session_table(path):
        import_session_table(path, out, {}, Remarks())
        return
    unit = rng.choice(("V", "mV", "ohm", "?"))
    quantity = rng.choice(("dc_voltage", "resistance", "x"))
    plan = make_plan(path, ImportOptions(time=("1",), value=("2",), unit=(unit,), quantity=(quantity,)))
    try:
        import_table(plan, out, Remarks(), {})
    finally:
        out.unlink(missing_ok=True)


def fuzz_address(rng: random.Random, folder: Path) -> None:
    """An address with options that its driver may or may not know."""
    del folder
    options = ("label", "baud", "line", "speed", "interval_s", "accuracy", "profile", "seed", "decoder", "dtr", "%zz")
    odd = ("", "1", "-1", "nan", "1e400", "x", "%00", "8N1", "0.8pct+3", "+", "é", "a,b", "/dev/null", "99999999999999")
    query = "&".join(f"{rng.choice(options)}={rng.choice(odd)}" for _ in range(rng.randrange(4)))
    target = rng.choice(("/dev/ttyNOPE", "x", "", "healthy-prime", "socket://127.0.0.1:1", "AA:BB:CC:DD:EE:FF", "\x00"))
    meter_setup(f"{rng.choice([*driver_names(), 'nope', ''])}:{target}?{query}")


def _word(rng: random.Random) -> str:
    """Something typed; now and then with a byte that is no UTF-8."""
    return "".join(rng.choices(_WORDS, k=rng.randrange(6))) + ("\udcff" if rng.random() < 0.01 else "")


def fuzz_words(rng: random.Random, folder: Path) -> None:
    """Labels, test points, details and markers as typed, through a session, its analysis, its table and back."""
    path, table, again = folder / "w.sqlite", folder / "w.csv", folder / "w2.sqlite"
    for left in (path, table, again):
        left.unlink(missing_ok=True)
    with SessionWriter.create(
        path, monotonic_start_s=0.0, details={_word(rng): _word(rng) for _ in range(3)}
    ) as writer:
        channel = writer.add_channel(
            _word(rng), rng.choice(list(Quantity)), point=_word(rng), address=_word(rng), driver=_word(rng)
        )
        writer.append(
            channel, [Reading(0.1 * i, rng.choice((0.0, 12.4, 0.3)), Quantity.DC_VOLTAGE, 0.01) for i in range(40)]
        )
        writer.add_marker(1.0, "x" + _word(rng), _word(rng))
    with suppress(UsageError):
        add_marker(
            path, _word(rng), _word(rng), rng.choice((1.0, 2.0, -1.0, 0.0, 1e300, float("nan"), float("inf"), 1e10))
        )
    with suppress(UsageError):
        change_marker(
            path, 1, name=_word(rng), note=_word(rng), time_s=rng.choice((None, 2.0, 1e300, float("inf"), -3.0))
        )
    with open_reader(path) as reader:
        analyze(Contents.of(reader))
        export_csv(reader, table, delimiter=",", decimal=".")
        label, notes = reader.channels[0].label, [(m.name, m.note) for m in reader.markers]
    import_session_table(table, again, {}, Remarks())
    with open_reader(again) as reader:
        assert reader.channels[0].label == label
        assert [(m.name, m.note) for m in reader.markers] == notes


FUZZED: tuple[Callable[[random.Random, Path], None], ...] = (
    fuzz_circuit,
    fuzz_limits,
    fuzz_profile,
    fuzz_capture,
    fuzz_table,
    fuzz_address,
    fuzz_words,
    fuzz_page,
)


def fuzzed(fuzz: Callable[[random.Random, Path], None], folder: Path, times: int, seed: int) -> tuple[int, int]:
    """Do it so many times, each with a seed of its own; how many were taken and how many refused.

    Raises:
        RuntimeError: something else than one of our errors came out; says the seed.
    """
    taken = refused = 0
    for i in range(times):
        try:
            fuzz(random.Random(f"{seed} {i}"), folder)
            taken += 1
        except MeterlogError:
            refused += 1
        except Exception as error:
            raise RuntimeError(f"{fuzz.__name__} with '{seed} {i}': {error!r}") from error
    return taken, refused


@pytest.mark.parametrize("fuzz", [one for one in FUZZED if one is not fuzz_page])  # the page refuses by its status
def test_only_our_own_errors_come_out(fuzz: Callable[[random.Random, Path], None], tmp_path: Path) -> None:
    taken, refused = fuzzed(fuzz, tmp_path, 40, seed=1)
    assert taken + refused == 40
    assert refused


@settings(max_examples=150, derandomize=True)
@given(st.text(max_size=60))
def test_any_text_is_an_address_or_refused(text: str) -> None:
    with suppress(MeterlogError):
        meter_setup(text)


def test_dates_that_are_none_are_said_to_be_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "t.csv"
    path.write_text("time,value\n" + "1.2.3,12.41\n" * 4, newline="")
    words = [
        "--time",
        "1",
        "--value",
        "2",
        "--unit",
        "V",
        "--quantity",
        "dc_voltage",
        "--out",
        str(tmp_path / "o.sqlite"),
    ]
    assert main(["import", str(path), *words]) == 2
    assert "no cell of the time column is a time" in capsys.readouterr().err


def test_a_line_end_in_what_was_typed_makes_no_second_line(capsys: pytest.CaptureFixture[str]) -> None:
    for words in (
        ["record", "--meter", "a\nb"],
        ["analyze", "a\nb"],
        ["sessions", "a\r\nb"],
        ["sessions", "--set", "\n"],
    ):
        assert main(words) == 2
        assert len(capsys.readouterr().err.splitlines()) == 1
