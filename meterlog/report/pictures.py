"""Pictures from files, to stand inside the page: logo and photos."""

from __future__ import annotations

from base64 import b64encode
from pathlib import Path

from meterlog.errors import UsageError

LARGEST_BYTES = 3_000_000
"""A photo of a job has some 300 kB; a page with ten larger ones is too heavy to be mailed. A guess."""
_BEGINS = {b"\x89PNG\r\n\x1a\n": "image/png", b"\xff\xd8\xff": "image/jpeg"}


def picture_uri(path: Path) -> str:
    """The picture as a `data:` address.

    Raises:
        UsageError: it cannot be read, is no PNG, JPEG or WebP, or is too large.
    """
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise UsageError(f"the picture '{path}' cannot be read: {error.strerror or error}") from error
    if len(data) > LARGEST_BYTES:
        raise UsageError(f"the picture '{path}' has more than {LARGEST_BYTES // 1_000_000} MB: save it smaller")
    kind = next((kind for begin, kind in _BEGINS.items() if data.startswith(begin)), None)
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        kind = "image/webp"
    if kind is None:
        raise UsageError(f"'{path}' is no picture in PNG, JPEG or WebP")
    return f"data:{kind};base64,{b64encode(data).decode('ascii')}"
