"""The notebook among the recordings runs as it is."""

from __future__ import annotations

import shutil
from pathlib import Path

import nbformat
from nbclient import NotebookClient

RECORDINGS = Path(__file__).parents[1] / "recordings"


def test_it_runs(tmp_path: Path) -> None:
    for name in ("key-on-good-1", "key-on-good-2", "key-on-suspect"):
        shutil.copy(RECORDINGS / f"{name}.sqlite", tmp_path)
    notebook = nbformat.read(RECORDINGS / "two-captures.ipynb", as_version=4)  # type: ignore[no-untyped-call]
    NotebookClient(notebook, resources={"metadata": {"path": str(tmp_path)}}).execute()
    shown = [output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs]
    assert len(shown) == sum(cell.cell_type == "code" for cell in notebook.cells)
    assert all("text/html" in output.data or "application/vnd.plotly.v1+json" in output.data for output in shown)
