"""A plan that cannot be recorded is refused on the page before a process is started."""

from __future__ import annotations

import pytest

from meterlog.errors import UsageError
from meterlog_dashboard.record.recorder_process import RecorderOptions


def test_a_condition_on_a_channel_that_no_meter_has() -> None:
    with pytest.raises(UsageError, match="which none of these meters has"):
        RecorderOptions(["sim:healthy-prime"], armed="rise 6V on nosuch").check()
    RecorderOptions(["sim:healthy-prime"], armed="rise 6V on pump feed").check()


def test_one_meter_in_two_spellings() -> None:
    with pytest.raises(UsageError, match="are the same device"):
        RecorderOptions(["text:socket://localhost:5025", "text:socket://127.0.0.1:5025"]).check()
