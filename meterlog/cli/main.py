"""Finds the command, runs it, and shows every known error as one line."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from typing import Any, NoReturn, Protocol

from meterlog import __version__
from meterlog.cli.terminal.output_streams import discard, plain_output
from meterlog.errors import MeterlogError, UsageError, did_you_mean
from meterlog.extras import missing_library
from meterlog.text.safe import one_line
from meterlog.text.typed import typed_number

COMMANDS = {
    "meters": ("meterlog.cli.meters", "list ports and Bluetooth meters in reach, and the driver that fits each"),
    "record": ("meterlog.cli.record", "record one or more meters into a session"),
    "follow": ("meterlog.cli.follow", "tell a session to other programs while it is recorded"),
    "mark": ("meterlog.cli.mark", "set a marker in a running or finished session"),
    "sessions": ("meterlog.cli.sessions", "list recorded sessions, newest first"),
    "details": ("meterlog.cli.details", "show and correct what was entered about a session"),
    "analyze": ("meterlog.cli.analyze", "find what happened in a session, with the errors of every figure"),
    "compare": ("meterlog.cli.compare", "compare a suspect session with known-good ones, or after with before"),
    "diagnose": ("meterlog.cli.diagnose", "find the part of a circuit that is at fault, and what to measure next"),
    "circuit": ("meterlog.cli.circuit", "check a circuit file and draw it, or write a new one"),
    "sweep": ("meterlog.cli.sweep", "find which fuse carries a parasitic draw, without pulling one"),
    "job": ("meterlog.cli.job", "one repair from complaint to proof, in a folder"),
    "jobs": ("meterlog.cli.jobs", "list the jobs of a folder, newest first"),
    "report": ("meterlog.cli.report", "write one HTML file to show the customer"),
    "collect": ("meterlog.cli.collect", "gather what many sessions show into one dataset of tables"),
    "normal": ("meterlog.cli.normal", "say what is normal by many sessions, measure by measure"),
    "trends": ("meterlog.cli.trends", "find what has changed on each vehicle over its sessions, and since when"),
    "import": ("meterlog.cli.import_table", "make a session from a CSV file"),
    "export": ("meterlog.cli.export", "write a session as CSV or Parquet"),
    "emulate": ("meterlog_drivers.simulated.emulate", "simulate a meter on a real port"),
    "page": ("meterlog_dashboard.serve", "record and review in a browser"),
    "demo": ("meterlog_drivers.simulated.demo", "show the whole job in a minute, without hardware"),
    "help": ("meterlog.cli.help", "show a manual"),
    "completion": ("meterlog.cli.completion", "print what completes commands in your shell"),
}
"""Each command's module and summary. A module has `add_arguments(parser)` and `run(args) -> int`; its docstring
is the command's description and `EXAMPLE` one line to try."""


class CommandModule(Protocol):
    """A command's module."""

    EXAMPLE: str

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """Declare the options."""
        ...

    def run(self, args: argparse.Namespace) -> int:
        """Do it; the exit status."""
        ...


def _overview() -> str:
    width = max(map(len, COMMANDS))
    lines = [f"  {name:<{width}}  {summary}" for name, (_, summary) in COMMANDS.items()]
    return (
        "usage: meterlog COMMAND ...\n\n"
        "Records, times, detects, compares and explains what a multimeter shows.\n\n"
        "commands:\n" + "\n".join(lines) + "\n\n"
        "'meterlog COMMAND --help' explains a command; 'meterlog demo' shows the whole job without hardware.\n"
    )


class _Parser(argparse.ArgumentParser):
    """Says in one line, and in our words, what it cannot understand, as every other error does."""

    _words: Sequence[str] = ()

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Parse them, and keep them for what is said of an error."""
        self._words = args or ()
        return super().parse_known_args(args, namespace)

    def error(self, message: str) -> NoReturn:
        """Say it, and end with 2."""
        said = " ".join(message.split())  # a word of the command line may hold line ends
        for theirs, ours in _SAID:
            if match := re.fullmatch(theirs, said):
                said = ours(self, match)
                break
        self.exit(2, f"meterlog: {said}; '{self.prog} --help' explains\n")

    def unknown(self, words: str) -> str:
        """Return the message about an extra word, or about an option that does not exist."""
        word = words.split()[0]
        if not word.startswith("-"):
            return f"unexpected argument '{word}'"
        return f"there is no option '{word}'{did_you_mean(word, self._option_strings())}"

    def missing(self, names: str) -> str:
        """Return the message about what is required; first about an option that does not exist: it may be meant."""
        given = [word.partition("=")[0] for word in self._words if word.startswith("--")]
        for option in given:
            if option != "--" and option not in self._option_strings():
                return self.unknown(option)
        return f"{names} {'are' if ', ' in names else 'is'} missing"

    def _option_strings(self) -> list[str]:
        return [option for action in self._actions for option in action.option_strings]


_SAID: tuple[tuple[str, Callable[[_Parser, re.Match[str]], str]], ...] = (
    (r"the following arguments are required: (.*)", lambda parser, m: parser.missing(m[1])),
    (r"unrecognized arguments: (.*)", lambda parser, m: parser.unknown(m[1])),
    (r"argument (\S+): expected (?:one|at least one) argument", lambda _, m: f"{m[1]} needs a value"),
    (r"argument (\S+): expected (\d+) arguments", lambda _, m: f"{m[1]} needs {m[2]} values"),
    (r"argument (\S+): ignored explicit argument (.*)", lambda _, m: f"{m[1]} takes no value, not {m[2]}"),
    (
        r"argument (\S+): invalid choice: (.*?) \(choose from (.*)\)",
        lambda _, m: f"{m[1]} must be one of {m[3].replace(chr(39), '')}, not {m[2]}",
    ),
    (r"argument (\S+): (.*)", lambda _, m: f"{m[1]} {m[2]}"),
)
"""argparse's messages and ours; one that is not listed is passed on unchanged."""


def _number(text: str) -> float:
    try:
        return typed_number(text)
    except UsageError:
        raise argparse.ArgumentTypeError(f"must be a number, not '{text}'") from None


def _whole_number(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"must be a whole number, not '{text}'") from None


def _parser(name: str, module: CommandModule) -> argparse.ArgumentParser:
    parser = _Parser(
        prog=f"meterlog {name}",
        description=module.__doc__,
        epilog=f"example:\n  {module.EXAMPLE}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.register("type", float, _number)  # argparse's own words name Python's types
    parser.register("type", int, _whole_number)
    parser.add_argument("--debug", action="store_true", help="show the traceback of an error")
    module.add_arguments(parser)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command line.

    Returns:
        The exit status: 0 done, 2 a known error (one line on stderr), 130 interrupted.
    """
    words = list(sys.argv[1:] if argv is None else argv)
    if not words or words[0] in ("-h", "--help"):
        sys.stdout.write(_overview())
        return 0 if words else 2
    if words[0] == "--version":
        print(f"meterlog {__version__}")
        return 0
    if words[0] not in COMMANDS:
        said = f"there is no command '{one_line(words[0])}'{did_you_mean(words[0], COMMANDS)}"
        print(f"meterlog: {said}; 'meterlog --help' lists them", file=sys.stderr)
        return 2
    with plain_output():
        try:
            return _run(words[0], words[1:])
        except BrokenPipeError:
            discard(sys.stdout)
            return 0
        except KeyboardInterrupt:
            return 130


def _run(command: str, words: Sequence[str]) -> int:
    try:
        return _run_module(import_module(COMMANDS[command][0]), command, words)
    except ModuleNotFoundError as error:
        said = missing_library(error)
        if said is None or "--debug" in words:
            raise
        print(f"meterlog: {said}", file=sys.stderr)
        return 2


def _run_module(module: CommandModule, command: str, words: Sequence[str]) -> int:
    args = _parser(command, module).parse_args(words)
    try:
        status = module.run(args)
        if sys.stdout is not None:
            sys.stdout.flush()  # here, where what goes wrong with it can still be said
        return status
    except BrokenPipeError:
        raise  # whoever read the output has had enough of it
    except MeterlogError as error:
        if args.debug:
            raise
        print(f"meterlog: {' '.join(str(error).splitlines())}", file=sys.stderr)  # a name may hold line ends
    except OSError as error:
        # An output that cannot be written (`> file` on a full disk), or a file that no command has a sentence for.
        if args.debug:
            raise
        where = f" '{error.filename}'" if error.filename else ""
        print(f"meterlog: the operating system reports{where}: {error.strerror or error}", file=sys.stderr)
        _discard_output()
    return 2


def _discard_output() -> None:
    """Let the interpreter's end not try again what could not be written."""
    if sys.stdout is not None:
        try:
            sys.stdout.flush()
        except OSError:
            discard(sys.stdout)
