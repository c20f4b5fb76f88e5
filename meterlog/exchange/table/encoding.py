"""Finds the encoding of a text, and says where that is a guess."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from itertools import chain
from pathlib import Path
from typing import NamedTuple

from meterlog.errors import TableError

_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_READ_BYTES, _HEAD_BYTES = 1 << 20, 4000
"""The file is read in such pieces, and UTF-16 told by the zero bytes of so many."""
_UTF16_ZEROS = 0.25
"""Share of zero bytes from which a text is UTF-16: half of it for Latin letters, none in any other encoding."""
WESTERN = "cp1252"
"""Latin-1 and a few characters more."""
_SAMPLE_BYTES = 1 << 16
_LIKELY = [
    *("gb18030", "big5", "cp932", "euc_jp", "cp949", "cp1251", "cp1250", "cp1252", "cp1253", "cp1254"),
    *("koi8_r", "cp1255", "cp1256"),
]
"""Says what tables are written in, besides Unicode."""
_SAME_CHAOS = 0.02
"""Guesses that differ by less are equally good. A guess."""
_BEYOND_ASCII = 2 / 3
"""Share of letters beyond ASCII in a Western word, at the most: `été`. A guess."""
_WORD = re.compile(rb"[A-Za-z\x80-\xff]{2,}")
_USUAL = frozenset("ÄÖÜäöüßÀÁÂÃÅÆÇÉÊÍÑÓÔÕØÚàáâãåæçèéêëíîïñòóôõøùúû°µ²³±·×–—“”‘’„…€£§«»¿¡Œœ\xa0")
"""Says what is usual in a Western text."""


class Encoding(NamedTuple):
    """The encoding of a text.

    Attributes:
        name: as Python calls it.
        doubt: what was guessed, one sentence; nothing where it is certain.
    """

    name: str
    doubt: str = ""


def find_encoding(path: Path) -> Encoding:
    """The encoding: by its mark, by the zero bytes of UTF-16, as UTF-8 when all of it is valid, else by its letters.

    Raises:
        TableError: the file is absent, empty, or cannot be read.
    """
    try:
        with path.open("rb") as file:
            return _encoding(iter(lambda: file.read(_READ_BYTES), b""))
    except FileNotFoundError:
        raise TableError(f"there is no file '{path}'") from None
    except IsADirectoryError:
        raise TableError(f"'{path}' is a folder, not a table") from None
    except OSError as error:
        raise TableError(f"'{path}' cannot be read: {error.strerror}") from error
    except StopIteration:
        raise TableError(f"'{path}' is an empty file") from None


def _encoding(blocks: Iterator[bytes]) -> Encoding:
    block = next(blocks)
    for mark, name in _BOMS:
        if block.startswith(mark):
            return Encoding(name)
    head = block[:_HEAD_BYTES].rstrip(b"\0")  # what a logger that lost power never filled says nothing
    if len(head) > 3 and head.count(0) > _UTF16_ZEROS * len(head):
        return Encoding("utf-16-le" if head[1::2].count(0) > head[::2].count(0) else "utf-16-be")
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        while block:
            decoder.decode(block)
            block = next(blocks, b"")
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return _by_letters(chain([block], blocks))
    return Encoding("utf-8")


def _by_letters(blocks: Iterator[bytes]) -> Encoding:
    """Western where the letters beyond ASCII stand alone and are usual ones, else what their statistics say."""
    sample = b""
    for block in blocks:
        sample += b"\n".join(line for line in re.split(rb"[\r\n]+", block) if not line.isascii())[:_SAMPLE_BYTES]
        if len(sample) >= _SAMPLE_BYTES:
            break
    western = {char for char in sample.decode(WESTERN, "replace") if not char.isascii()}
    if western <= _USUAL and all(_is_western(word) for word in _WORD.findall(sample)):
        return Encoding(WESTERN)
    name = _likeliest(sample)
    line = next((one for one in sample.decode(name, "replace").splitlines() if one.strip()), "")[:60].strip()
    return Encoding(name, f"the encoding is a guess, {name}, which reads '{line}': --encoding sets another")


def _is_western(word: bytes) -> bool:
    return sum(byte > 0x7F for byte in word) <= _BEYOND_ASCII * len(word)


def _likeliest(sample: bytes) -> str:
    """Return what the statistics of letters say; of equals, Korean that is all Hangul, then Chinese of usual
    characters."""
    from charset_normalizer import from_bytes

    matches = list(from_bytes(sample, cp_isolation=_LIKELY))
    equal = [match.encoding for match in matches if match.chaos <= matches[0].chaos + _SAME_CHAOS]
    for name, is_it in (("cp949", _all_hangul), ("gb18030", _usual_chinese)):
        if name in equal and is_it(sample):
            return name
    return next((name for name in equal if name not in ("cp949", "gb18030")), equal[0] if equal else WESTERN)


def _all_hangul(sample: bytes) -> bool:
    pairs = re.findall(rb"[\x81-\xfe].", sample)
    if not all(min(pair) > 0xA0 for pair in pairs):  # beyond KS X 1001 nothing is usual
        return False
    return all("\uac00" <= char <= "\ud7a3" for char in sample.decode("cp949") if char.isalpha() and not char.isascii())


def _usual_chinese(sample: bytes) -> bool:
    """Tell whether all is of the first level of GB 2312, the 3755 usual characters, or of its signs."""
    pairs = re.findall(rb"[\x81-\xfe].", sample)
    return all(pair[0] in range(0xA1, 0xAA) or pair[0] in range(0xB0, 0xD8) for pair in pairs)
