"""Reads limits: one of the sets that come with the program, and a person's own file laid over it."""

from __future__ import annotations

import dataclasses
import difflib
import math
import sys
from collections.abc import Iterable
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from meterlog.errors import LimitsError
from meterlog.events.settings import DetectionSettings
from meterlog.limits.figure import Figure
from meterlog.limits.limits import Limits
from meterlog.text.toml import TomlText, parse_toml, read_toml

SETS = {"car-12v": 12.0, "truck-24v": 24.0, "old-6v": 6.0}
"""The sets that come with the program, with their system voltages in V; of those with the same voltage the first is
taken where only the voltage is stated."""

_NEAR = 0.1
"""A system voltage within this share of a set's is that set's: a choice."""

_TOP = ("name", "system_v", "figure", "detection")
_FIGURE = ("value", "points", "unit", "meaning", "grade", "source")


def load_limits(name_or_path: str | Path | None = None, system_v: float | None = None) -> Limits:
    """The limits to judge by.

    Args:
        name_or_path: one of `SETS`, or a person's own TOML file, which overrides the set figure by figure.
        system_v: the system voltage as the session states it, V; an own file's `system_v` comes first.

    Raises:
        LimitsError: no such set or file, bad TOML, an unknown key or a wrong type; names the key and the line.
    """
    if name_or_path is not None and str(name_or_path) in SETS:
        return _shipped(str(name_or_path))
    if name_or_path is None:
        return _for_voltage(system_v)
    own = _File(_read(Path(name_or_path)))
    return own.over(_for_voltage(system_v if own.system_v is None else own.system_v))


def no_limits(system_v: float) -> Limits:
    """Make the limits of a system that there are none for: they say so, and nothing is judged by their figures."""
    why = _unknown(system_v)
    return dataclasses.replace(_for_voltage(12.0), name=f"none, {why}", system_v=system_v, foreign=why)


@cache
def _shipped(name: str) -> Limits:
    """The set of that name."""
    shipped = (files("meterlog.limits") / f"{name}.toml").read_bytes()
    start = Limits(name, SETS[name], {}, DetectionSettings(system_v=SETS[name]))
    return _File(parse_toml(shipped, name, LimitsError)).over(start)


def _for_voltage(system_v: float | None) -> Limits:
    """The set for a system voltage; for 12 V where it is not stated, the detectors then judging by the readings."""
    limits = _shipped(_set_for(12.0 if system_v is None else system_v))
    if system_v is not None:
        return limits
    detection = dataclasses.replace(limits.detection, system_v=0.0)
    return dataclasses.replace(
        limits, detection=detection, assumed="the system voltage was not stated: 12 V is assumed"
    )


def _set_for(system_v: float) -> str:
    for name, volts in SETS.items():
        if math.isclose(volts, system_v, rel_tol=_NEAR):
            return name
    raise LimitsError(_unknown(system_v))


def _unknown(system_v: float) -> str:
    voltages = ", ".join(f"{volts:g} V" for volts in SETS.values())
    return f"there are no limits for a {system_v:g} V system; there are for {voltages}"


def _read(path: Path) -> TomlText:
    try:
        return read_toml(path, LimitsError)
    except FileNotFoundError:
        raise LimitsError(f"there is no limits file '{path}'; the sets by name are {', '.join(SETS)}") from None


class _File:
    """One limits file: its tables checked, each complaint with its key and line."""

    def __init__(self, toml: TomlText) -> None:
        self.path = toml.path
        self._toml = toml
        self.tables: dict[str, Any] = toml.values
        self._known(self.tables, _TOP, None)
        self.name: str | None = self._typed(self.tables, "name", None, str)
        volts = self._typed(self.tables, "system_v", None, float)
        self.system_v: float | None = None if volts is None else float(volts)

    def over(self, base: Limits) -> Limits:
        """The limits of this file laid over a base; a base without figures takes whatever the file has."""
        figures = dict(base.figures)
        for name, table in self._table(self.tables, "figure").items():
            if base.figures and name not in base.figures:
                raise self._unknown(name, base.figures, "figure")
            if not isinstance(table, dict):
                raise self._wrong(name, "figure", f"a table [figure.{name}] with value = ...")
            figures[name] = self._figure(name, table, figures.get(name))
        return Limits(self.name or base.name, base.system_v, figures, self._detection(base.detection), base.assumed)

    def _figure(self, name: str, table: dict[str, Any], old: Figure | None) -> Figure:
        where = f"figure.{name}"
        self._known(table, _FIGURE, where)
        value = self._typed(table, "value", where, float)
        points = self._points(table, where)
        words = {key: self._typed(table, key, where, str) for key in ("unit", "meaning", "grade", "source")}
        if value is not None and points:
            raise self._wrong("points", where, "left out where value is given")
        if old is None:
            return Figure(name, value, points, **{key: word or "" for key, word in words.items()})
        self._same_form(where, table, old, words["unit"])
        changed = value is not None or bool(points)
        return Figure(
            name,
            value if value is not None else old.value,
            points or old.points,
            old.unit,
            words["meaning"] or old.meaning,
            words["grade"] or ("own" if changed else old.grade),
            words["source"] or (f"own limits file {Path(self.path).name}" if changed else old.source),
        )

    def _same_form(self, where: str, table: dict[str, Any], old: Figure, unit: str | None) -> None:
        if unit is not None and unit != old.unit:
            raise self._wrong("unit", where, f"'{old.unit}', as in the set it overrides")
        if "value" in table and old.value is None:
            raise self._wrong("value", where, "points = [[x, y], ...], since this figure is a curve")
        if "points" in table and old.value is not None:
            raise self._wrong("points", where, "value = ..., since this figure is one number")

    def _points(self, table: dict[str, Any], where: str) -> tuple[tuple[float, float], ...]:
        raw = table.get("points", [])
        wanted = "a list of [x, y] pairs with x rising"
        if "points" in table and not (isinstance(raw, list) and raw):
            raise self._wrong("points", where, wanted)
        pairs: list[tuple[float, float]] = []
        for pair in raw:
            if not (isinstance(pair, list) and len(pair) == 2 and all(_is_number(part) for part in pair)):
                raise self._wrong("points", where, wanted)
            if pairs and pair[0] <= pairs[-1][0]:
                raise self._wrong("points", where, wanted)
            pairs.append((float(pair[0]), float(pair[1])))
        return tuple(pairs)

    def _detection(self, start: DetectionSettings) -> DetectionSettings:
        table = self._table(self.tables, "detection")
        fields = {field.name: getattr(start, field.name) for field in dataclasses.fields(start)}
        changes: dict[str, Any] = {}
        for key in table:
            if key not in fields:
                raise self._unknown(key, fields, "detection")
            kind = type(fields[key])
            changes[key] = kind(self._typed(table, key, "detection", kind))
        try:
            return dataclasses.replace(start, **changes)
        except ValueError as error:
            raise LimitsError(f"{self.path}, table [detection]: {error}") from error

    def _table(self, tables: dict[str, Any], key: str) -> dict[str, Any]:
        found = tables.get(key, {})
        if not isinstance(found, dict):
            raise self._wrong(key, None, f"a table [{key}]")
        return found

    def _typed(self, table: dict[str, Any], key: str, where: str | None, kind: type) -> Any:
        if key not in table:
            return None
        found = table[key]
        if kind is float and not _is_number(found):
            raise self._wrong(key, where, "a finite number")
        if kind is int and (isinstance(found, bool) or not isinstance(found, int)):
            raise self._wrong(key, where, "a whole number")
        if kind in (str, bool) and not isinstance(found, kind):
            raise self._wrong(key, where, "a text in quotes" if kind is str else "true or false")
        return found

    def _known(self, table: dict[str, Any], known: Iterable[str], where: str | None) -> None:
        for key in table:
            if key not in known:
                raise self._unknown(key, known, where)

    def _unknown(self, key: str, known: Iterable[str], where: str | None) -> LimitsError:
        near = difflib.get_close_matches(key, list(known), 1)
        hint = f"did you mean '{near[0]}'?" if near else f"known are {', '.join(known)}"
        return LimitsError(f"{self.path}{self._line(key, where)}: unknown key '{_dotted(key, where)}'; {hint}")

    def _wrong(self, key: str, where: str | None, wanted: str) -> LimitsError:
        return LimitsError(f"{self.path}{self._line(key, where)}: '{_dotted(key, where)}' must be {wanted}")

    def _line(self, key: str, where: str | None) -> str:
        line = self._toml.line(where or "", key)
        return f" line {line}" if line else ""


def _dotted(key: str, where: str | None) -> str:
    return f"{where}.{key}" if where else key


def _is_number(found: object) -> bool:
    # TOML's whole numbers have no end, and those beyond a float's range are of no use here.
    return isinstance(found, int | float) and not isinstance(found, bool) and abs(found) <= sys.float_info.max
