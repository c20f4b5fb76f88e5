"""Profile files: TOML that describes a meter, read with errors that name the line."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from importlib.resources import files

from meterlog.errors import ProfileError, did_you_mean
from meterlog.text.toml import parse_toml, read_toml


@dataclass
class Table:
    """One table of a profile, with its place in the file, whose keys are taken out one by one.

    Attributes:
        path: the file as the user wrote it.
        lines: where each `(table, key)` stands, the table as `name` or `name#2` for the third `[[name]]`.
        place: this table.
        values: its content.
    """

    path: str
    lines: dict[tuple[str, str], int]
    place: str
    values: dict[str, object]
    _taken: set[str] = field(default_factory=set)

    def error(self, message: str, key: str = "") -> ProfileError:
        """An error about this table or one of its keys, with its line."""
        line = self.lines.get((self.place, key)) or self.lines.get((self.place, ""))
        where = f"{self.path}, line {line}" if line else self.path
        return ProfileError(f"{where}: {message}", line)

    def has(self, key: str) -> bool:
        """Tell whether the key is there."""
        return key in self.values

    def text(self, key: str, default: str | None = None, choices: Collection[str] = ()) -> str:
        """A key that holds text.

        Raises:
            ProfileError: it is absent without a default, no text, or none of the choices.
        """
        value = self._take(key, default)
        if not isinstance(value, str):
            raise self.error(f"{key} must be text in quotes, not {value!r}", key)
        if choices and value not in choices:
            known = ", ".join(sorted(filter(None, choices)))
            raise self.error(f"{key} must be one of {known}, not '{value}'{did_you_mean(value, choices)}", key)
        return value

    def integer(self, key: str, default: int | None = None, least: int = 0, most: int = 2**31) -> int:
        """A key that holds a whole number in a span.

        Raises:
            ProfileError: it is absent without a default, no whole number, or outside the span.
        """
        value = self._take(key, default)
        if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
            raise self.error(f"{key} must be a whole number from {least} to {most}, not {value!r}", key)
        return value

    def yes(self, key: str, default: bool) -> bool:
        """A key that holds true or false.

        Raises:
            ProfileError: it holds something else.
        """
        value = self._take(key, default)
        if not isinstance(value, bool):
            raise self.error(f"{key} must be true or false, not {value!r}", key)
        return value

    def texts(self, key: str, default: list[str] | None = None) -> list[str]:
        """A key that holds a list of texts.

        Raises:
            ProfileError: it is absent without a default, or holds something else.
        """
        value = self._take(key, default)
        if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
            raise self.error(f'{key} must be a list of texts, ["like", "this"], not {value!r}', key)
        return value

    def integers(self, key: str, default: list[int] | None = None) -> list[int]:
        """A key that holds a list of whole numbers.

        Raises:
            ProfileError: it is absent without a default, or holds something else.
        """
        value = self._take(key, default)
        if not isinstance(value, list) or not all(isinstance(v, int) and not isinstance(v, bool) for v in value):
            raise self.error(f"{key} must be a list of whole numbers, [1, 2], not {value!r}", key)
        return value

    def nested_integers(self, key: str) -> list[list[int]]:
        """A key that holds lists of whole numbers.

        Raises:
            ProfileError: it is absent, or holds something else.
        """
        value = self._take(key, None)
        if not isinstance(value, list) or not all(
            isinstance(row, list) and all(isinstance(v, int) and not isinstance(v, bool) for v in row) for row in value
        ):
            raise self.error(f"{key} must be lists of whole numbers, [[1, 2], [3, 4]], not {value!r}", key)
        return value

    def nested_texts(self, key: str) -> list[list[str]]:
        """A key that holds lists of texts.

        Raises:
            ProfileError: it is absent, or holds something else.
        """
        value = self._take(key, None)
        if not isinstance(value, list) or not all(
            isinstance(row, list) and all(isinstance(v, str) for v in row) for row in value
        ):
            raise self.error(f'{key} must be lists of texts, [["like"], ["this"]], not {value!r}', key)
        return value

    def table(self, key: str) -> Table:
        """A table inside this one; empty where it is absent.

        Raises:
            ProfileError: the key holds something else.
        """
        value = self._take(key, {})
        if not isinstance(value, dict):
            raise self.error(f"{key} must be a table, [{key}], not {value!r}", key)
        inner = f"{self.place}.{key}" if self.place else key
        if (inner, "") not in self.lines and (self.place, key) in self.lines:  # an inline table: all on its line
            self.lines[inner, ""] = self.lines[self.place, key]
        return Table(self.path, self.lines, inner, value)

    def tables(self, key: str) -> list[Table]:
        """The tables of an array of tables, `[[key]]`; empty where it is absent.

        Raises:
            ProfileError: the key holds something else.
        """
        value = self._take(key, [])
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            raise self.error(f"{key} must be tables, [[{key}]], not {value!r}", key)
        inner = f"{self.place}.{key}" if self.place else key
        return [Table(self.path, self.lines, f"{inner}#{n}", v) for n, v in enumerate(value)]

    def items(self) -> Iterator[str]:
        """Every key of a table whose keys the profile's author chooses."""
        return iter(self.values)

    def finish(self) -> None:
        """Refuse keys that nobody asked for.

        Raises:
            ProfileError: with the nearest known key.
        """
        for key in self.values:
            if key not in self._taken:
                raise self.error(f"there is no '{key}' here{_nearest(key, self._taken)}", key)

    def _take(self, key: str, default: object) -> object:
        self._taken.add(key)
        value = self.values.get(key, default)
        if value is None:
            raise self.error(f"{f'[{self.place}]' if self.place else 'the profile'} needs the key {key}")
        return value


def _nearest(word: str, known: Collection[str]) -> str:
    near = difflib.get_close_matches(word, list(known), 1)
    return f" (did you mean '{near[0]}'?)" if near else f"; known are {', '.join(sorted(known))}"


def shipped_profiles() -> dict[str, str]:
    """The profiles that come with this package: name to kind (`text` or `frames`)."""
    folder = files("meterlog_drivers") / "profiles"
    names = sorted(entry.name for entry in folder.iterdir() if entry.name.endswith(".toml"))
    return {n.removesuffix(".toml"): str(tomllib.loads((folder / n).read_text("utf-8"))["kind"]) for n in names}


def read_profile(name: str, kind: str) -> Table:
    """A shipped profile by its name, or a person's own by its path.

    Args:
        name: a shipped profile's name; or a path, which has a separator or ends in `.toml`.
        kind: `text` or `frames`; '' takes either.

    Raises:
        ProfileError: there is none, it is no TOML, or of another kind; with the line where there is one.
    """
    if "/" in name or "\\" in name or name.endswith(".toml"):
        try:
            toml = read_toml(name, _failure)
        except FileNotFoundError:
            raise ProfileError(f"the profile '{name}' cannot be read: there is no such file") from None
    else:
        known = [n for n, k in shipped_profiles().items() if kind in ("", k)]
        if name not in known:
            what = f"{kind} profile" if kind else "profile"
            raise ProfileError(
                f"there is no {what} '{name}'{_nearest(name, known)}; give the path to use a file of your own"
            )
        toml = parse_toml((files("meterlog_drivers") / "profiles" / f"{name}.toml").read_bytes(), name, _failure)
    profile = Table(name, toml.lines, "", toml.values)
    found = profile.text("kind", choices=("text", "frames"))
    if kind and found != kind:
        raise profile.error(f"this is a profile for the driver '{found}', not '{kind}'", "kind")
    return profile


def _failure(said: str) -> ProfileError:
    line = re.search(r", line (\d+): ", said)
    return ProfileError(said, int(line[1]) if line else None)
