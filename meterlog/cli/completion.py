"""Print the completion script of a shell: then the Tab key completes commands, options and file names.

For bash:  meterlog completion bash > ~/.local/share/bash-completion/completions/meterlog
For zsh:   meterlog completion zsh > a file '_meterlog' in a folder of $fpath
"""

from __future__ import annotations

import argparse
from importlib import import_module

from meterlog.cli.main import COMMANDS, CommandModule

EXAMPLE = "meterlog completion bash"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("shell", choices=("bash", "zsh", "tcsh"), help="the shell")


def run(args: argparse.Namespace) -> int:
    """Print it."""
    import shtab

    print(shtab.complete(_everything(), shell=args.shell))
    return 0


def _everything() -> argparse.ArgumentParser:
    """Return one parser of all commands, which only this command needs: the others load one."""
    parser = argparse.ArgumentParser("meterlog")
    commands = parser.add_subparsers()
    for name, (module_name, summary) in COMMANDS.items():
        module: CommandModule = import_module(module_name)
        module.add_arguments(commands.add_parser(name, help=summary))
    return parser
