"""A set of limits: the figures, and the settings of the detectors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from meterlog.events.settings import DetectionSettings
from meterlog.limits.figure import Figure


@dataclass(frozen=True, slots=True)
class Limits:
    """A set of limits.

    Attributes:
        name: of the set, as shown.
        system_v: the system voltage it is for, V.
        figures: by their names.
        detection: the settings of the detectors.
        assumed: what was assumed in choosing the set, in words; empty where nothing was.
        foreign: why nothing can be judged by them, in words, where the system as entered is none that there are limits
            for; else empty.
    """

    name: str
    system_v: float
    figures: Mapping[str, Figure]
    detection: DetectionSettings
    assumed: str = ""
    foreign: str = ""

    @property
    def settings(self) -> DetectionSettings:
        """Return what the detectors go by: `detection`, with the system voltage where that was stated and not
        assumed."""
        if self.assumed or self.detection.system_v:
            return self.detection
        return replace(self.detection, system_v=self.system_v)

    def figure(self, name: str) -> Figure:
        """The figure of that name.

        Raises:
            KeyError: there is none; a mistake in the program, since every set holds every figure.
        """
        return self.figures[name]

    def value(self, name: str) -> float:
        """The number of the figure of that name; see `figure`."""
        return self.figures[name].number()
