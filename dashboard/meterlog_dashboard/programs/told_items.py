"""A session's items as server-sent events, and where a listener that comes again goes on."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Callable, Iterator

from meterlog.stream.items import SessionItems

_COUNTED = re.compile(r"([a-z]+\d*)=(\d+)")
_ALIVE = ": still there\n\n"
"""A comment, as the standard has it: a listener that is gone is noticed when something is sent."""
_ALIVE_LOOKS = 20
"""After so many looks in vain it is sent. A guess."""


def events(items: SessionItems, last_id: str, pause: Callable[[], None]) -> Iterator[str]:
    """Each item as an event; after each look an identifier, from which a listener that comes again goes on.

    The order in which items of different kinds come depends on when somebody looks, but not that within a kind and
    channel. So an identifier says how many of each were told.

    Args:
        items: of the session.
        last_id: the identifier that a listener heard last; nothing for the whole session.
        pause: waits between two looks.
    """
    heard = Counter({key: int(n) for key, n in _COUNTED.findall(last_id)})
    told: Counter[str] = Counter()
    in_vain = 0
    while True:
        before = told.total()
        for item in items.look():
            key = f"{item['type']}{item.get('channel', '')}"
            told[key] += 1
            if told[key] > heard[key]:
                yield f"event: {item['type']}\ndata: {json.dumps(item, ensure_ascii=False, allow_nan=False)}\n\n"
        in_vain = in_vain + 1 if told.total() == before else 0
        if not in_vain:
            yield "id: " + ",".join(f"{key}={n}" for key, n in (told | heard).items()) + "\n\n"
        elif in_vain % _ALIVE_LOOKS == 0:
            yield _ALIVE
        if items.over:
            return
        pause()
