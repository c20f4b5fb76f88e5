"""The user's settings in one TOML file, which command line and page read: shop, money, dates, quiet, saved meters.

Example:
```toml
currency = "EUR"
hourly_rate = 85
dates = "de"                      # language of dates, as web pages name it
quiet = false                     # record: as with --quiet

[shop]
name = "Workshop by the river"
logo = "logo.png"                 # beside this file, or a full path
address = ["Mill Lane 3", "Riverside"]

[meters.clamp]                    # --meter clamp
address = "segments14:/dev/ttyUSB0"
label = "clamp"                   # and any other option of an address
accuracy = "0.8pct+3"
```
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from meterlog.address import Address
from meterlog.errors import SettingsError, UsageError, did_you_mean
from meterlog.exchange.finished_file import finished_file
from meterlog.text.toml import TomlText, read_toml

NAMES_A_FILE = "METERLOG_SETTINGS"
"""The environment variable that names another file."""
NAMES_A_FOLDER = "METERLOG_DATA"
"""The environment variable that names another folder for what the program itself keeps."""
_NAME = re.compile(r"[A-Za-z0-9][\w-]*")
_LANGUAGE = re.compile(r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*")
"""A language tag of RFC 5646, as far as its form goes."""
_HEAD = "# Settings of meterlog, read by the command line and the page. Comments and order are kept.\n"


@dataclass(frozen=True, slots=True)
class Shop:
    """The shop as a report shows it.

    Attributes:
        name: empty where nobody said.
        address: its lines.
        logo: a picture's file.
    """

    name: str = ""
    address: tuple[str, ...] = ()
    logo: Path | None = None


@dataclass(frozen=True, slots=True)
class Settings:
    """Holds what the file says; what it leaves out is as here.

    Attributes:
        shop: who makes the report.
        currency: a sign or code that follows a price; empty for none.
        hourly_rate: price of an hour of work; None where work is not priced.
        dates: the language of dates, a tag of RFC 5646; empty for ISO 8601.
        quiet: `record` prints cautions and problems only.
        meters: the address options of each saved meter by name, its address among them as `address`.
    """

    shop: Shop = field(default_factory=Shop)
    currency: str = ""
    hourly_rate: float | None = None
    dates: str = ""
    quiet: bool = False
    meters: Mapping[str, Mapping[str, str]] = field(default_factory=lambda: MappingProxyType({}))


def settings_path() -> Path:
    """The file of the settings, which need not exist."""
    named = os.environ.get(NAMES_A_FILE)
    if named:
        return Path(named)
    from platformdirs import user_config_path

    folder: Path = user_config_path("meterlog", appauthor=False)
    return folder / "settings.toml"


def data_folder() -> Path:
    """The folder of what the program keeps for this user: the page's certificate, its paired devices."""
    named = os.environ.get(NAMES_A_FOLDER)
    if named:
        return Path(named)
    from platformdirs import user_data_path

    folder: Path = user_data_path("meterlog", appauthor=False)
    return folder


def read_settings() -> Settings:
    """Read the file; defaults where there is none.

    Raises:
        SettingsError: it cannot be understood; names the line and the key.
    """
    path = settings_path()
    try:
        return _Reader(read_toml(path, SettingsError), path.parent).settings()
    except (FileNotFoundError, NotADirectoryError):
        return Settings()


def meter_address(text: str) -> Address:
    """The address behind what was typed for a meter: an address, or a saved name with options, `clamp?label=feed`.

    Raises:
        AddressError: it is neither.
        SettingsError: the settings cannot be understood.
    """
    if ":" in text:
        return Address.parse(text)
    name, _, options = text.strip().partition("?")
    saved = read_settings().meters
    if name in saved:
        address = Address.parse(saved[name]["address"])
        more = Address.parse(f"x:?{options}").options
        kept = {key: value for key, value in saved[name].items() if key != "address"}
        return Address(address.scheme, address.target, MappingProxyType({**address.options, **kept, **more}))
    near = did_you_mean(name, saved)
    if near:
        raise SettingsError(f"there is no saved meter '{name}'{near}; {settings_path()} has {', '.join(saved)}")
    return Address.parse(text)


def save_meter(name: str, address: Address) -> Path:
    """Save a meter under a name, over one of the same name; the file that was written.

    Raises:
        UsageError: the name has other characters than letters, figures, - and _.
        SettingsError: the file cannot be understood, and stays as it is; or it cannot be written.
    """
    if not _NAME.fullmatch(name):
        raise UsageError(f"a meter's name has letters, figures, - and _ only, not '{name}'")
    import tomlkit

    read_settings()  # nothing is written over what cannot be understood
    path = settings_path()
    document = tomlkit.parse(path.read_text("utf-8-sig") if path.exists() else _HEAD)
    meters = document.setdefault("meters", tomlkit.table(is_super_table=True))
    table = tomlkit.table()
    table["address"] = str(Address(address.scheme, address.target))
    for option, value in address.options.items():
        table[option] = value
    meters[name] = table
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SettingsError(f"'{path.parent}' cannot be made: {error.strerror or error}") from error
    with finished_file(path, replace=True) as passing:
        passing.write_bytes(tomlkit.dumps(document).encode("utf-8"))
    return path


@dataclass(frozen=True, slots=True)
class _Reader:
    """Takes a file's tables apart, strictly: a slip is named, not passed over."""

    text: TomlText
    folder: Path

    def settings(self) -> Settings:
        values = self.text.values
        self._known("", values, ("shop", "currency", "hourly_rate", "dates", "quiet", "meters"))
        rate = values.get("hourly_rate")
        if isinstance(rate, bool) or not isinstance(rate, int | float | None) or not 0 <= (rate or 0) < 1e9:
            raise self._wrong("", "hourly_rate", "must be a number from 0 up")
        quiet = values.get("quiet", False)
        if not isinstance(quiet, bool):
            raise self._wrong("", "quiet", "must be true or false")
        dates = self._words("", values, "dates")
        if dates and not _LANGUAGE.fullmatch(dates):
            raise self._wrong("", "dates", f"must be a language, such as 'en-GB' or 'de', not '{dates}'")
        currency = self._words("", values, "currency")
        meters = {name: self._meter(name, row) for name, row in self._table("", values, "meters").items()}
        return Settings(self._shop(values), currency, rate, dates, quiet, MappingProxyType(meters))

    def _shop(self, values: Mapping[str, object]) -> Shop:
        row = self._table("", values, "shop")
        self._known("shop", row, ("name", "logo", "address"))
        lines = row.get("address", [])
        if not isinstance(lines, list) or not all(isinstance(line, str) for line in lines):
            raise self._wrong("shop", "address", "must be a list of texts, one a line")
        logo = self._words("shop", row, "logo")
        return Shop(self._words("shop", row, "name"), tuple(lines), self.folder / logo if logo else None)

    def _meter(self, name: str, row: object) -> dict[str, str]:
        place = f"meters.{name}"
        if not isinstance(row, dict):
            raise self._wrong("meters", name, "must be a table with the meter's address")
        if not isinstance(row.get("address"), str):
            raise self._wrong(place, "address", "must be the meter's address in quotes")
        for key, value in row.items():
            if isinstance(value, bool) or not isinstance(value, str | int | float):
                raise self._wrong(place, key, "must be a text or a number")
        return {key: str(value) for key, value in row.items()}

    def _table(self, place: str, values: Mapping[str, object], key: str) -> Mapping[str, object]:
        value = values.get(key, {})
        if not isinstance(value, dict):
            raise self._wrong(place, key, f"must be a table [{key}]")
        return value

    def _words(self, place: str, values: Mapping[str, object], key: str) -> str:
        value = values.get(key, "")
        if not isinstance(value, str):
            raise self._wrong(place, key, "must be text in quotes")
        return value.strip()

    def _known(self, place: str, values: Mapping[str, object], known: tuple[str, ...]) -> None:
        for key in values:
            if key not in known:
                raise self._wrong(place, key, f"is unknown{did_you_mean(key, known)}: it can be {', '.join(known)}")

    def _wrong(self, place: str, key: str, what: str) -> SettingsError:
        line = self.text.line(place, key) or (self.text.lines.get((place, "")) if place else None)
        return SettingsError(f"{self.text.path}{f', line {line}' if line else ''}: '{key}' {what}")
