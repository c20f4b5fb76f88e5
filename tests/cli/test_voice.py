"""One voice: an example in the help of every command, and every error as 'meterlog: what, where, what to do'."""

from __future__ import annotations

import shlex
from importlib import import_module

import pytest

from meterlog.cli import main
from meterlog.cli.main import COMMANDS, _parser


@pytest.mark.parametrize("command", COMMANDS)
def test_every_help_ends_with_an_example_that_its_own_parser_takes(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as end:
        main([command, "--help"])
    assert end.value.code == 0
    example = capsys.readouterr().out.rstrip().splitlines()[-1].strip()
    name, called, *words = shlex.split(example)
    assert (name, called) == ("meterlog", command)
    _parser(command, import_module(COMMANDS[command][0])).parse_args(words)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("meter", "there is no command 'meter' (did you mean 'meters'?); 'meterlog --help' lists them"),
        ("record", "--meter is missing; 'meterlog record --help' explains"),
        (
            "record --metre x",
            "there is no option '--metre' (did you mean '--meter'?); 'meterlog record --help' explains",
        ),
        ("compare", "name --good SESSION and a SUSPECT, or --before SESSION and --after SESSION"),
        ("record --meter", "--meter needs a value; 'meterlog record --help' explains"),
        ("meters --try a", "--try needs 2 values; 'meterlog meters --help' explains"),
        (
            "meters -listen 5",
            "there is no option '-listen' (did you mean '--listen'?); 'meterlog meters --help' explains",
        ),
        ("analyze a b", "unexpected argument 'b'; 'meterlog analyze --help' explains"),
        ("record --meter x --plain=3", "--plain takes no value, not '3'; 'meterlog record --help' explains"),
        (
            "record --meter x --for soon",
            "--for must be a number of seconds, or 90min, 8h, not 'soon'; 'meterlog record --help' explains",
        ),
        ("import a.csv --clock q", "--clock must be one of hm, ms, not 'q'; 'meterlog import --help' explains"),
        (
            "sessions --quantity volts",
            (
                "--quantity must be one of dc_voltage, ac_voltage, dc_current, ac_current, resistance, continuity,"
                " diode, frequency, duty_cycle, capacitance, temperature, not 'volts'; 'meterlog sessions --help'"
                " explains"
            ),
        ),
    ],
)
def test_words_that_cannot_be_understood(words: str, said: str, capsys: pytest.CaptureFixture[str]) -> None:
    try:
        status: int | str | None = main(shlex.split(words))
    except SystemExit as end:
        status = end.code
    assert status == 2
    assert capsys.readouterr().err == f"meterlog: {said}\n"


def test_a_port_without_its_driver_is_told_how_to_find_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["record", "--meter", "/dev/ttyUSB7"]) == 2
    assert "auto:/dev/ttyUSB7 finds the driver by listening" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("entered", "said"),
    [
        ("system_v=twelve", "system_v must be a number from 3 to 1000"),
        ("system_v=17", "there are no limits for a 17 V system"),
        ("temperature_c=warm", "temperature_c must be a number from -60 to 150"),
        ("temperature_c=400", "temperature_c must be a number from -60 to 150"),
        ("battery_v=flat", "battery_v must be a number"),
        ("lead_ohm=-1", "lead_ohm must be a number from 0 to 10"),
        ("van", "--set needs KEY=VALUE"),
        ("system_v=12 --set system_v=24", "--set gives 'system_v' twice"),
    ],
)
def test_a_detail_that_is_used_as_a_number_must_be_one(
    entered: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["record", "--meter", "sim:healthy-prime", "--set", *shlex.split(entered)]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize("entered", ["system_v=24 V", "temperature_c=-7,5", "lead_ohm=0.3 ohm", "vehicle=12 tons"])
def test_numbers_with_their_unit_and_other_details_are_taken(entered: str) -> None:
    from meterlog.cli.options.details_and_roles import details

    assert details([entered]) == dict([entered.split("=")])
