"""The command line: a file a command, imported only when it is asked for."""

from meterlog.cli.main import main

__all__ = ["main"]
