"""The commands of a job, run in this process: what a person types, and what the job answers."""

from __future__ import annotations

import contextlib
import io
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from meterlog.cli import main
from meterlog.errors import JobError
from meterlog_drivers.simulated.person import REFUSED

Status = dict[str, Any]
"""The object of `job status --json`."""


class JobCommands:
    """Runs `meterlog job WHAT FOLDER ...`.

    Attributes:
        folder: of the job.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __call__(self, what: str, *words: str) -> Status:
        """Run one command; what it prints with `--json`.

        Raises:
            JobError: it failed, with its own sentence.
        """
        out, said = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(said):
            status = main(["job", what, str(self.folder), *words, "--json"])
        if status:
            raise JobError(" ".join(said.getvalue().splitlines()[-1:]).removeprefix("meterlog: "))
        found: Status = json.loads(out.getvalue())
        return found


def typed(asked: Mapping[str, Any], answer: str) -> tuple[str, ...]:
    """The words after `meterlog job` that enter an answer, the folder left out: what to do, and its options.

    Args:
        asked: the object under `next` that was answered.
        answer: as `Person.do` gives it.
    """
    if asked["kind"] == "look":
        return ("look", f"{asked['look']['key']}={answer}")
    if asked["kind"] == "repair":
        return ("repaired", answer)
    what = "prove" if asked["kind"] == "prove" else "measure"
    return (what, "--skip") if answer == REFUSED else (what, f"--value={answer}")


def free_folder(folder: Path) -> Path:
    """The folder, or with a number behind it where there is one already.

    Raises:
        JobError: something else is in the way.
    """
    if folder.exists() and not folder.is_dir():
        raise JobError(f"the folder '{folder}' cannot be made: a file is there")
    number, free = 1, folder
    while free.exists():
        number += 1
        free = folder.with_name(f"{folder.name}-{number}")
    return free
