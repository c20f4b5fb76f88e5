"""The words for the two sides of a comparison: known-good and suspect, or before and after."""

from __future__ import annotations

from typing import NamedTuple


class Sides(NamedTuple):
    """The two sides as a person is told them, and as `compare --json` spells them.

    Attributes:
        reference: what the band is made of.
        other: what is held against it.
        the_reference: the same within a sentence.
        the_other: the same within a sentence.
        reference_key: in the JSON.
        other_key: in the JSON.
    """

    reference: str
    other: str
    the_reference: str
    the_other: str
    reference_key: str
    other_key: str

    def key(self, name: str) -> str:
        """The JSON's key for a field of the comparison: `good_error` is `before_error` in a before and after."""
        return name.replace("suspect", self.other_key).replace("good", self.reference_key)


KNOWN_GOOD = Sides("known-good", "suspect", "the known-good", "the suspect", "good", "suspect")
BEFORE_AFTER = Sides("before", "after", "the session before", "the session after", "before", "after")
"""Of a repair, or of anything else that was done: neither is called good, and neither is suspected."""
