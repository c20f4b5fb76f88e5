"""Asks a person one thing at a time, and again where an answer is none: names, numbers, words out of a list."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from meterlog.circuit.model.dangerous_names import refuse_dangerous
from meterlog.circuit.model.part import near
from meterlog.circuit.readings.typed_answers import typed_id
from meterlog.errors import CircuitError, UsageError
from meterlog.text.ids import plain
from meterlog.text.safe import one_line
from meterlog.text.typed import typed_number


@dataclass(frozen=True, slots=True)
class Asking:
    """A conversation.

    Attributes:
        ask: puts a question; returns the answer, or raises EOFError where there are no more.
        say: tells something.
    """

    ask: Callable[[str], str]
    say: Callable[[str], None]

    def text(self, question: str) -> str:
        """Any answer; empty for none."""
        return self.ask(f"{question}: ").strip()

    def yes(self, question: str, *, usual: bool) -> bool:
        """Yes or no; the usual one where nothing else is said."""
        answer = self.text(f"{question} (yes, no) [{'yes' if usual else 'no'}]").casefold()
        return answer not in ("n", "no") if usual else answer in ("y", "yes")

    def name(self, question: str, usual: str, taken: Iterable[str]) -> str:
        """A name that nothing else has yet, and that speaks of nothing dangerous; the usual one for Enter."""
        while True:
            answer = self.text(f"{question} [{usual or 'nothing'}]") or usual
            try:
                refuse_dangerous(answer, "no:")
            except CircuitError as error:
                self.say(f"  {one_line(str(error))}")
                continue
            if answer not in taken:
                return answer
            self.say(f"  '{one_line(answer)}' is used already")

    def number(self, question: str, usual: float) -> float:
        """A number; the usual one for Enter."""
        value = self.optional(f"{question} [{usual:g}]")
        return usual if value is None else value

    def optional(self, question: str) -> float | None:
        """A number; None for Enter."""
        while answer := self.text(question):
            try:
                return typed_number(answer)
            except UsageError as error:
                self.say(f"  {one_line(str(error))}; press Enter where nobody knows")
        return None

    def one_of(self, question: str, known: Iterable[str], usual: str) -> str:
        """One of some names; the usual one for Enter."""
        choices = list(known)
        while answer := self.text(f"{question} [{plain(usual)}]"):
            if found := typed_id(answer, choices):
                return found
            self.say(f"  '{one_line(answer)}' is not one of them{near(answer, choices)}")
        return usual

    def several(self, question: str, known: Iterable[str]) -> tuple[str, ...] | None:
        """Some of some words, with commas between; None for Enter."""
        choices = list(known)
        while True:
            answers = [word.strip() for word in self.text(question).split(",") if word.strip()]
            found = [typed_id(word, choices) for word in answers]
            wrong = [word for word, one in zip(answers, found, strict=True) if one is None]
            if not wrong:
                return tuple(dict.fromkeys(one for one in found if one)) or None
            self.say(f"  '{one_line(wrong[0])}' is not one of them{near(wrong[0], choices)}")
