"""Reads the values of a circuit file's tables: texts, numbers, words, each with its bounds."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from meterlog.cautions import NEAR
from meterlog.circuit.model.part import STATES, near
from meterlog.errors import CircuitError

LONGEST_NAME = 80
"""Characters: a name is to fit a line."""


def rows(table: Mapping[str, object], key: str, source: str, most: int) -> list[Mapping[str, object]]:
    """A list of tables under a key; empty where the key is absent.

    Raises:
        CircuitError: it is something else, or has more than `most` of them.
    """
    found = table.get(key, [])
    if not isinstance(found, list) or not all(isinstance(row, dict) for row in found):
        raise CircuitError(f"{source}: '{key}' must be a list of tables such as {key} = [{{...}}, {{...}}]")
    if len(found) > most:
        raise CircuitError(f"{source}: {len(found)} entries of '{key}' are too many: at most {most} are allowed")
    return found


def number(
    row: Mapping[str, object],
    key: str,
    where: str,
    *,
    default: float,
    least: float = 0.0,
    most: float = 1e9,
) -> float:
    """A number under a key.

    Raises:
        CircuitError: it is not a number, or out of bounds.
    """
    value = row.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
        upper = f"to {most:.10g}" if isinstance(value, int | float) and value > most else "up"
        raise CircuitError(f"{where} '{key}' must be a number from {least:g} {upper}{instead(value)}")
    return float(value)


def instead(value: object) -> str:
    """The end of a sentence about a wrong value: what was there; long ones cut."""
    if value is None:
        return "; it is missing"
    text = repr(value)
    return f", not {text if len(text) <= 60 else f'{text[:57]}...'}"


def text_in(row: Mapping[str, object], key: str, where: str, default: str = "") -> str:
    """A text of one printable line under a key.

    Raises:
        CircuitError: it is something else, or too long.
    """
    value = row.get(key, default)
    if not isinstance(value, str):
        raise CircuitError(f"{where} '{key}' must be text in quotes{instead(value)}")
    if not value.isprintable() or len(value) > LONGEST_NAME:
        raise CircuitError(
            f"{where} '{key}' must be one line of at most {LONGEST_NAME} printable characters{instead(value)}"
        )
    return value


def id_in(row: Mapping[str, object], what: str) -> str:
    """The `id` of a row.

    Raises:
        CircuitError: it has none, or not one line of text.
    """
    if not str(row.get("id", "")).strip():
        raise CircuitError(f"{what} has no 'id'")
    return text_in(row, "id", what)


def hazards_in(row: Mapping[str, object], where: str) -> tuple[str, ...] | None:
    """Read the list of what a thing is near; empty for none of the known hazards, None if it is left unsaid.

    Raises:
        CircuitError: it is no list, or names something unknown.
    """
    if "near" not in row:
        return None
    words = row["near"]
    if not isinstance(words, list) or not all(isinstance(word, str) for word in words):
        raise CircuitError(f"{where} 'near' must be a list of words such as [\"{NEAR[0]}\"]{instead(words)}")
    for word in words:
        if word not in NEAR:
            raise CircuitError(f"{where} 'near' does not know{instead(word).removeprefix(', not')}{near(word, NEAR)}")
    return tuple(dict.fromkeys(words))


def states_in(row: Mapping[str, object], key: str, where: str) -> list[str]:
    """A list of the states of the key, one at least.

    Raises:
        CircuitError: it is something else.
    """
    words = row.get(key)
    if not isinstance(words, list) or not words or any(word not in STATES[:-1] for word in words):
        raise CircuitError(f"{where} '{key}' must be a list of states out of {', '.join(STATES[:-1])}{instead(words)}")
    return words


def refuse_unknown(row: Mapping[str, object], known: Collection[str], where: str) -> None:
    """Refuse a row with a key that is not known.

    Raises:
        CircuitError: naming the key.
    """
    for key in row:
        if key not in known:
            raise CircuitError(f"{where} unknown key '{key}'{near(key, known)}")
