"""A dataset, or a folder of sessions taken for one."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from meterlog.errors import UsageError
from meterlog.fleet.asking.frames import Dataset
from meterlog.fleet.collect import collect
from meterlog.fleet.manifest import is_dataset


@contextmanager
def dataset_or_folder(source: Path) -> Iterator[Dataset]:
    """Inside, there is the dataset; of a folder of sessions one that is made for now.

    Raises:
        UsageError: it is neither.
        DatasetError: it cannot be read, or the folder holds no session.
    """
    if is_dataset(source):
        yield Dataset(source)
        return
    if not source.is_dir():
        raise UsageError(f"'{source}' is neither a dataset nor a folder of sessions")
    with TemporaryDirectory() as folder:
        made = Path(folder) / "dataset"
        collect([str(source)], made)
        yield Dataset(made)
