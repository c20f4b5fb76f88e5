"""Drivers whose frames a shipped profile describes: one table for decoding, encoding, explaining and for people."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import ClassVar

from meterlog.address import Address
from meterlog_drivers.formats.fixed_frames import FixedFrameDriver, FrameFormat, spare_ignored
from meterlog_drivers.profiles.frame_format import ProfiledFormat
from meterlog_drivers.profiles.frame_profile import FrameProfile, frame_profile
from meterlog_drivers.profiles.profile_file import read_profile
from meterlog_drivers.profiles.told import told_profile


class ProfiledDriver(FixedFrameDriver):
    """A driver whose frames are those of a shipped profile.

    Attributes:
        profile: the profile's name.
    """

    profile: ClassVar[str]

    def frame_format(self, address: Address) -> FrameFormat:
        """See `FixedFrameDriver`; `spare=ignored` lets the profile's unused bits pass, `told=` answers its question."""
        profile = told_profile(_shipped(self.profile_of(address)), address)
        if "spare" in self.options and spare_ignored(address):
            profile = replace(profile, displays=tuple(replace(one, unused=()) for one in profile.displays))
        return ProfiledFormat(profile)

    def profile_of(self, address: Address) -> str:
        """The profile that the address's options choose: the driver's own, where it has one only."""
        del address
        return self.profile

    def one_column(self, address: Address) -> bool:
        """See `Driver.one_column`."""
        return _shipped(self.profile_of(address)).columns == 1


@cache
def _shipped(name: str) -> FrameProfile:
    return frame_profile(read_profile(name, "frames"))
