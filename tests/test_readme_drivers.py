"""The drivers' README has a table of drivers that says what the installed drivers say of themselves.

`python tests/test_readme_drivers.py` prints the table to paste between the markers.
"""

from __future__ import annotations

import re
from importlib.metadata import entry_points
from pathlib import Path

import pytest

from meterlog.cli.main import main
from meterlog.driver import GROUP, load_driver

README = Path(__file__).parents[1] / "drivers" / "README.md"
PROFILES = README.parent / "meterlog_drivers" / "profiles" / "README.md"
BEGIN, END = "<!-- drivers -->", "<!-- /drivers -->"


def table() -> str:
    """The table as Markdown, of the drivers that this project itself provides."""
    rows = ["| driver | what it reads | line settings | modes | how it was verified |", "|---|---|---|---|---|"]
    own = {p.name for p in entry_points(group=GROUP) if p.value.startswith("meterlog_drivers.")}
    for name in sorted(own):
        driver = load_driver(name)
        lines = "; ".join(str(line) for line in getattr(driver, "lines", ()) if getattr(driver, "streams", True))
        cells = (f"`{name}`", driver.summary, lines or "-", ", ".join(driver.modes) or "-", driver.verification)
        rows.append(f"| {' | '.join(cells)} |")
    return "\n".join(rows)


def test_the_readmes_table_is_what_the_drivers_say() -> None:
    text = README.read_text("utf-8")
    assert text.count(BEGIN) == text.count(END) == 1, f"drivers/README.md wants one {BEGIN} ... {END}"
    shown = text.partition(BEGIN)[2].partition(END)[0].strip()
    assert shown == table(), "paste what 'python tests/test_readme_drivers.py' prints between the markers"


def test_the_readmes_worked_profile_reads_its_worked_bytes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = PROFILES.read_text("utf-8")
    profile = text.partition("# mine.toml")[2].partition("```")[0]
    assert 'kind = "frames"' in profile
    (tmp_path / "mine.toml").write_text(profile)
    octal = re.search(r"printf '([\\0-7]+)' > some.raw", text)
    assert octal is not None
    (tmp_path / "some.raw").write_bytes(bytes(int(byte, 8) for byte in octal[1].split("\\")[1:]))
    assert main(["meters", "--try", str(tmp_path / "mine.toml"), str(tmp_path / "some.raw")]) == 0
    out = capsys.readouterr().out
    assert "shows 12.34 V DC voltage (one count 0.01)" in out
    assert "checksum, right" in out
    assert "WRONG" not in out


if __name__ == "__main__":
    print(table())
