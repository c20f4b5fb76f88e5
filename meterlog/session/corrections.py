"""Corrects what a person entered: the details of a session, and what its channels are called and where they were."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType

from meterlog.errors import UsageError
from meterlog.roles import check_role, measurand, role_key
from meterlog.session.changes import changing
from meterlog.session.database import check_texts
from meterlog.session.model import Channel
from meterlog.session.reader import open_reader

_NONE: Mapping[int, str] = MappingProxyType({})


def correct(
    path: Path | str,
    details: Mapping[str, str] = MappingProxyType({}),
    labels: Mapping[int, str] = _NONE,
    points: Mapping[int, str] = _NONE,
) -> None:
    """Change all of these, or none where one of them is refused. No reading and no time is touched.

    Args:
        path: the session.
        details: the new texts; an empty one removes that detail.
        labels: of channels, by their number. Only once the recording has ended: its recorder goes on with the old ones.
        points: test points, likewise; an empty one says that it was not entered.

    Raises:
        UsageError: no such channel, an empty label, a text that is none in UTF-8, or a channel that is being recorded.
        SessionError: the file cannot be read or written.
    """
    path = Path(path)
    check_texts((*details, *details.values(), *labels.values(), *points.values()))
    if not all(label.strip() for label in labels.values()):
        raise UsageError("a label wants a text")
    with open_reader(path) as reader:
        channels = reader.channels
        known = [channel.number for channel in channels]
        _check_roles(path, channels, details, points)
        if (labels or points) and reader.ended == "growing":
            raise UsageError(f"'{path}' is being recorded: correct its labels and points when that has ended")
    for number in (*labels, *points):
        if number not in known:
            have = ", ".join(map(str, known)) or "none"
            raise UsageError(f"there is no channel {number} in '{path}'; its channels are {have}")
    with changing(path) as connection:
        for key, value in details.items():
            connection.execute("DELETE FROM detail WHERE key = ?", (key,))
            if value:
                connection.execute("INSERT INTO detail VALUES (?, ?)", (key, value))
        for number, label in labels.items():
            connection.execute("UPDATE channel SET label = ? WHERE number = ?", (label, number))
        for number, point in points.items():
            connection.execute("UPDATE channel SET point = ? WHERE number = ?", (point, number))


def _check_roles(
    path: Path, channels: Sequence[Channel], details: Mapping[str, str], points: Mapping[int, str]
) -> None:
    """Refuse a role that a channel cannot have, or that its test point contradicts: it would be passed over."""
    for channel in channels:
        role = details.get(role_key(channel.number), "")
        if problem := check_role(role, channel.quantity):
            raise UsageError(f"channel {channel.number} of '{path}': {problem}")
        point = points.get(channel.number, channel.point)
        told = measurand(channel.quantity, channel.label, point, role)
        if role and told.said_by == "point" and told.role != role:
            raise UsageError(
                f"channel {channel.number} of '{path}' was read at '{point}', which makes it a {told.role.words}:"
                f" correct its test point too (--point {channel.number}=...)"
            )
    known = [role_key(channel.number) for channel in channels]
    for key in details:
        if key.startswith("role ") and key not in known:
            raise UsageError(f"there is no channel {key.removeprefix('role ')} in '{path}'")
