"""Files that cannot be read: one sentence each, whatever they hold."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.circuit import load_circuit
from meterlog.errors import CircuitError

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
        (bytes(range(256)), "no text file in UTF-8"),
        (b"a = 1\0", "no text file in UTF-8"),
        (GOOD.encode("latin-1"), "no text file in UTF-8"),
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
    assert len(str(caught.value).removeprefix(f"'{path}'")) < 120


def test_a_folder_is_called_a_folder(tmp_path: Path) -> None:
    with pytest.raises(CircuitError, match="is a folder"):
        load_circuit(tmp_path)


def test_no_name_at_all_is_said() -> None:
    with pytest.raises(CircuitError, match="no file is named"):
        load_circuit("")
