"""Says what only the person who has the file can say: a sentence, and the options that would answer it."""

from __future__ import annotations

from typing import Any

from meterlog.errors import TableError


class Question(TableError):
    """A table can be understood in more ways than one.

    Attributes:
        option: the field of `ImportOptions` that settles it.
        answers: its values, the likeliest first; none where only a person can tell.
        column: the place among the columns of values that it is about; None where it is about the file.
    """

    def __init__(self, sentence: str, option: str, answers: tuple[Any, ...] = (), column: int | None = None) -> None:
        super().__init__(sentence)
        self.option, self.answers, self.column = option, answers, column
