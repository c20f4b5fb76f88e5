"""Run families alone: `python -m tests.bench.detection_world [first seed] [name ...] [-v]`; writes no results."""

from __future__ import annotations

import sys

from tests.bench.detection_world.run import report

words = [word for word in sys.argv[1:] if word != "-v"]
numbers = [int(word) for word in words if word.isdigit()]
complaints = report(numbers[0] if numbers else 0, [word for word in words if not word.isdigit()])
if "-v" in sys.argv:
    print("\n" + "\n".join(complaints))
