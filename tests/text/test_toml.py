"""Files that cannot be read: one sentence each, whatever they hold."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from meterlog.circuit import load_circuit
from meterlog.driver.framing import framing_of
from meterlog.errors import CircuitError, LimitsError, MeterlogError, ProfileError
from meterlog.limits import load_limits

GOOD = 'name = "hörn"\r\npart = [{id = "b", kind = "battery"}, {id = "horn", kind = "load"}]\r\n'


@pytest.mark.parametrize("before", ["", "\ufeff", "\ufeff\r\n"])
def test_files_of_any_editor_in_utf_8_are_read(before: str, tmp_path: Path) -> None:
    path = tmp_path / "c.toml"
    path.write_bytes((before + GOOD).encode())
    assert load_circuit(path).name == "hörn"


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "is empty"),
        (b"\xef\xbb\xbf\r\n \n", "is empty"),
        (b"part = [", "is not TOML"),
        (b"x = " + b"9" * 5000, "a number of thousands of digits"),
        (b"x = " + b"[" * 3000 + b"]" * 3000, "nested too deep"),
        (b"a." * 50_000 + b"a = 1", "nested too deep"),
        (b"# " + b"x" * 300_000, "more than 200 kB"),
        (bytes(range(256)), "not a text file in UTF-8"),
        (b"a = 1\0", "not a text file in UTF-8"),
        (GOOD.encode("latin-1"), "not a text file in UTF-8"),
        (GOOD.encode("utf-16"), "UTF-16: save it as UTF-8"),
        (b"SQLite format 3\0\0\xff", "recorded session"),
    ],
)
def test_what_is_no_circuit_file_is_said_in_one_line(data: bytes, said: str, tmp_path: Path) -> None:
    path = tmp_path / "c.toml"
    path.write_bytes(data)
    with pytest.raises(CircuitError, match=said) as caught:
        load_circuit(path)
    assert "c.toml" in str(caught.value)
    assert len(str(caught.value).replace(str(path), "")) < 120


def test_a_folder_is_called_a_folder(tmp_path: Path) -> None:
    with pytest.raises(CircuitError, match="is a folder"):
        load_circuit(tmp_path)


def test_no_name_at_all_is_said() -> None:
    with pytest.raises(CircuitError, match="no file is named"):
        load_circuit("")


READERS: dict[str, tuple[Callable[[str], object], type[MeterlogError]]] = {
    "circuit": (load_circuit, CircuitError),
    "limits": (load_limits, LimitsError),
    "profile": (lambda path: framing_of(f"text:x?profile={path}").decoder(), ProfileError),
}


@pytest.mark.parametrize("kind", READERS)
@pytest.mark.skipif(sys.platform == "win32", reason="has neither")
def test_what_has_no_end_or_no_beginning_is_not_read(kind: str, tmp_path: Path) -> None:
    read, error = READERS[kind]
    endless, silent = tmp_path / "endless.toml", tmp_path / "silent.toml"
    endless.symlink_to("/dev/zero")
    os.mkfifo(silent)
    for path in (endless, silent):
        with pytest.raises(error, match="is not a plain file"):
            read(str(path))


@pytest.mark.parametrize("kind", READERS)
@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"x = " + b"9" * 5000, "a number of thousands of digits"),
        (b"x = " + b"[" * 3000 + b"]" * 3000, "nested too deep"),
        (b"# " + b"x" * 300_000, "more than 200 kB"),
    ],
)
def test_odd_toml_is_one_sentence_wherever_it_is_read(kind: str, data: bytes, said: str, tmp_path: Path) -> None:
    read, error = READERS[kind]
    path = tmp_path / "odd.toml"
    path.write_bytes(data)
    with pytest.raises(error, match=said):
        read(str(path))
