"""`python -m tests.stories`: does the whole job at the simulated van and prints the transcript, to read."""

from __future__ import annotations

import tempfile
from pathlib import Path

from tests.stories.pump_suspected import play


def main() -> None:
    """Play it in a folder of its own and print what was typed and what came back."""
    with tempfile.TemporaryDirectory() as folder:
        play(Path(folder), aloud=True)


if __name__ == "__main__":
    main()
