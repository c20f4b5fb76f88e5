"""Finds what lies on the way to a part: its fuse, the contact that switches it, a ground that others share."""

from __future__ import annotations

from meterlog.circuit.model.circuit import Circuit


def shared_ground(circuit: Circuit) -> int:
    """The position of the ground through which other loads may return, too: the first after the load; -1 for none."""
    grounds = (k for k in circuit.chain[circuit.load + 1 :] if circuit.parts[k].kind == "ground")
    return -1 if circuit.charges else next(grounds, -1)


def contact_before(circuit: Circuit, k: int) -> int:
    """The position of the last commanded contact before a part, or -1."""
    passed = [c for c in circuit.upstream[k] if circuit.parts[c].command]
    return passed[-1] if passed else -1


def fuse_before(circuit: Circuit, k: int) -> int:
    """The position of the last fuse before a part on the feed side, or -1."""
    if not (circuit.on_feed_side[k] or k in circuit.loads):
        return -1
    fuses = [f for f in circuit.upstream[k] if circuit.parts[f].kind == "fuse"]
    return fuses[-1] if fuses else -1
