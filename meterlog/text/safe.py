"""Control characters in texts that anyone may have written: shown, never sent, so that no text steers a terminal."""

from __future__ import annotations

_LINE = "\n\t"
_UNSEEN = [*range(0x20), *range(0x7F, 0xA0), 0x2028, 0x2029]  # C0, DEL, C1, and what some take for a line end
_TURNING = [0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A)]  # these turn the text after them
_SHOWN = {code: f"\\u{code:04x}" for code in (*_UNSEEN, *_TURNING)}  # as in JSON, so that printed JSON stays the same
_SHOWN_IN_LINES = {code: text for code, text in _SHOWN.items() if chr(code) not in _LINE}


def one_line(text: str) -> str:
    """A stranger's text inside a line of ours: control characters, line ends too, as `\\u001b`."""
    return text if text.isprintable() else text.translate(_SHOWN)


def in_lines(text: str) -> str:
    """Lines of ours: control characters but line ends and tabs as `\\u001b`."""
    return text.translate(_SHOWN_IN_LINES)
