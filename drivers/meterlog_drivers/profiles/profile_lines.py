"""Line settings as a profile spells them: `9600 8N1`, `2400 7O1 dtr=on rts=off`."""

from __future__ import annotations

import re

from meterlog.transports import LineSettings
from meterlog_drivers.profiles.profile_file import Table

_LINE = re.compile(r"(\d+) ([78])([NEO])([12])((?: (?:dtr|rts)=(?:on|off))*)")


def profile_lines(profile: Table) -> tuple[LineSettings, ...]:
    """The line settings that a profile's `lines` names, the commonest first; 9600 8N1 where it names none.

    Raises:
        ProfileError: one of them cannot be understood.
    """
    settings = []
    for text in profile.texts("lines", ["9600 8N1"]):
        found = _LINE.fullmatch(text)
        if not found or not int(found[1]):
            raise profile.error(
                f"lines must be settings like '9600 8N1' or '2400 7O1 dtr=on rts=off', not '{text}'", "lines"
            )
        outputs = {word[:3]: word.endswith("on") for word in found[5].split()}
        settings.append(
            LineSettings(int(found[1]), int(found[2]), found[3], int(found[4]), outputs.get("dtr"), outputs.get("rts"))
        )
    if not settings:
        raise profile.error("lines is empty", "lines")
    return tuple(settings)
