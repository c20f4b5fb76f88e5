"""Photos of a job: copied into its folder small and upright, without what a camera notes in them, such as the place."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.errors import JobError
from meterlog.exchange.finished_file import finished_file
from meterlog.job.job import Job
from meterlog.job.job_file import add_step

if TYPE_CHECKING:
    from PIL import Image

SIDE_PX = 1600
"""The longer side of a copy: a part fills a printed page's width at 200 dots an inch. A choice."""
QUALITY = 82
"""Of JPEG, per cent: some 300 kB a photo. A choice."""
LARGEST_BYTES, MOST_PIXELS = 60_000_000, 120_000_000
"""Bytes and pixels that are taken in at the most; phones make up to 200 megapixels only when asked to. A guess."""
_FORMATS = ("JPEG", "PNG", "WEBP")


def add_photo(job: Job, path: Path, caption: str) -> Job:
    """Copy a photo into the job, and enter it.

    Raises:
        JobError: it cannot be read, is no photo or too large, or the copy cannot be written.
    """
    picture = _read(path)
    target = _free(job.folder, path)
    with finished_file(target, replace=False) as passing:
        picture.save(passing, "JPEG", quality=QUALITY, optimize=True)
    return add_step(job.folder, "photo", {"file": target.name, "caption": caption})


def _read(path: Path) -> Image.Image:
    """A photo as it is to be kept: upright, small, and nothing in it but the picture."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise JobError(f"'{path}' has more than {LARGEST_BYTES // 1_000_000} MB: save it smaller")
        with warnings.catch_warnings(action="ignore"), Image.open(path, formats=_FORMATS) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise JobError(f"'{path}' has more than {MOST_PIXELS // 1_000_000} megapixels: save it smaller")
            upright = ImageOps.exif_transpose(opened).convert("RGBA")
    except UnidentifiedImageError:
        raise JobError(f"'{path}' is no photo that can be read: JPEG, PNG and WebP can") from None
    except Image.DecompressionBombError:
        raise JobError(f"'{path}' has more than {MOST_PIXELS // 1_000_000} megapixels: save it smaller") from None
    except OSError as error:
        raise JobError(f"'{path}' cannot be read: {error.strerror or 'it is damaged or cut short'}") from error
    except (ValueError, SyntaxError):  # what the library raises for damage inside
        raise JobError(f"'{path}' cannot be read: it is damaged") from None
    upright.thumbnail((SIDE_PX, SIDE_PX))
    bare = Image.new("RGB", upright.size, "white")
    bare.paste(upright, mask=upright.getchannel("A"))
    return bare


def _free(folder: Path, path: Path) -> Path:
    """A name that no file of the job has yet: `photo-02-relay.jpg`."""
    number = 1 + sum(1 for _ in folder.glob("photo-*.jpg"))
    while any(folder.glob(f"photo-{number:02d}-*.jpg")):
        number += 1
    safe = "".join(c if c.isalnum() or c in "_-" else "_" for c in path.stem)[:40]
    return folder / f"photo-{number:02d}-{safe}.jpg"
