"""Asks a person the product's own questions, and reads frames with the profile that came of it."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from meterlog.driver.framing import Decoder, framing_of
from meterlog_drivers.teach.questions.next_question import next_question
from meterlog_drivers.teach.teacher import Taught, teach
from tests.bench.teach.people import Person

MOST_QUESTIONS = 15
SHOWN = 400
"""Clean frames of each kind that a taught meter shows."""
QUANTITIES = {
    "V": "dc_voltage",
    "mV": "dc_voltage",
    "VAC": "ac_voltage",
    "ohm": "resistance",
    "A": "dc_current",
    "mA": "dc_current",
    "Hz": "frequency",
    "degC": "temperature",
}


def asked(person: Person) -> tuple[Taught | None, int]:
    """Ask until nothing is left to ask; what was learned, and how many questions were answered."""
    refused: set[str] = set()
    taught: Taught | None = None
    questions = 0
    while questions < MOST_QUESTIONS:
        question = next_question(taught.lesson if taught else None, refused, questions)
        if question is None:
            break
        refused.add(question.name)
        if person.answer(question):
            questions += 1
            taught = teach(person.chunks, 0.0, person.moments, ["9600 8N1"], "2026-01-01")
    return taught, questions


@contextmanager
def decoder_of(profile: str) -> Iterator[Decoder]:
    """Read frames by a profile's text."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "taught.toml"
        path.write_text(profile)
        yield framing_of(f"frames:x?profile={path}").decoder()


def same_value(got: float, shown: float) -> bool:
    """Tell whether a reading is what the display showed."""
    return math.isclose(got, shown, rel_tol=1e-9, abs_tol=1e-15)
