"""Every error a user can meet, as one tree.

```
MeterlogError
├── UsageError (ValueError)            the words of a command do not fit together
├── AddressError (ValueError)          an address cannot be understood
├── DriverError
│   ├── UnknownDriver (LookupError)    no driver of that name
│   ├── BrokenDriver (ImportError)     its module fails to import, or it raises what it must not
│   ├── DuplicateDriver                two packages provide the same name
│   └── WrongDriverType (TypeError)    what is registered is not a driver
├── ProfileError (ValueError)          a profile file is wrong; carries its line
├── EncodeError (ValueError)           a framing cannot express that reading
├── NotLearned (ValueError)            a meter could not be learned from what was shown
├── NoZero (ValueError)                a meter cannot be nulled as it stands
├── LinkError (OSError)                the way to a meter
│   ├── LinkAbsent                     nothing is there
│   ├── LinkBusy                       another program holds it
│   ├── LinkForbidden                  the system refuses access
│   ├── LinkLost                       it was there and is gone
│   └── NoFrameFits                    bytes come, no frame fits; carries the first bytes
├── SessionError
│   ├── NotASession                    the file is something else, or damaged
│   ├── NewerSession                   written by a later version
│   ├── EmptySession                   no readings in it
│   ├── SessionBusy                    another recorder is writing it
│   └── SessionWriteFailed (OSError)   disk full, folder gone
├── TableError (ValueError)            a table from elsewhere cannot be imported as asked
├── LimitsError (ValueError)           a limits file is wrong
├── CircuitError (ValueError)          a circuit or measurement file is wrong
├── CompareError (ValueError)          these captures cannot be compared
├── DatasetError (ValueError)          a dataset of many sessions cannot be made or read
│   └── NotFetched                     a file on object storage cannot be fetched just now
├── SettingsError (ValueError)         the user's settings are wrong
└── JobError (ValueError)              a job cannot be read or written
    ├── JobBusy                        another program is writing it
    └── NewerJob                       written by a later version
```

Lower libraries' exceptions are mapped where they are called; the command line shows the message alone and
exits with 2. Every message is one plain sentence that says what to do about it where that is known.
"""

import difflib
from collections.abc import Iterable


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return what to add to an error about an unknown word: the nearest known one, or nothing."""
    near = difflib.get_close_matches(word, list(known), 1)
    return f" (did you mean '{near[0]}'?)" if near else ""


def bytes_in_words(data: bytes) -> str:
    """Bytes for a person to look at: in hex, and as text too where they are text."""
    text = data.decode("latin-1")
    is_text = text.isascii() and all(c.isprintable() or c in "\r\n\t" for c in text)
    return data.hex(" ") + (f", as text {text!r}" if is_text and text else "")


class MeterlogError(Exception):
    """Base of every error that is shown to the user as one line."""


class UsageError(MeterlogError, ValueError):
    """The words of a command do not fit together."""


class AddressError(MeterlogError, ValueError):
    """An address cannot be understood, or has an option its driver does not know."""


class DriverError(MeterlogError):
    """A driver cannot be had."""


class UnknownDriver(DriverError, LookupError):
    """No driver of that name is installed."""


class BrokenDriver(DriverError, ImportError):
    """A driver is registered but its module fails to import, or it raises something else than a `MeterlogError`."""


class DuplicateDriver(DriverError):
    """Two installed packages register the same driver name."""


class WrongDriverType(DriverError, TypeError):
    """The object registered under the name is not a driver."""


class ProfileError(MeterlogError, ValueError):
    """A profile file is wrong.

    Attributes:
        line: the line in the file, counted from 1; None where the whole file is meant.
    """

    def __init__(self, message: str, line: int | None = None) -> None:
        super().__init__(message)
        self.line = line


class EncodeError(MeterlogError, ValueError):
    """A framing has no way to express that reading."""


class NotLearned(MeterlogError, ValueError):
    """A meter could not be learned from what was shown of it."""


class NoZero(MeterlogError, ValueError):
    """A meter cannot be nulled: what it shows is no zero, or moves."""


class LinkError(MeterlogError, OSError):
    """Something about the way to a meter.

    Attributes:
        port: the port, peripheral or file as the user wrote it.
    """

    def __init__(self, message: str, port: str = "") -> None:
        super().__init__(message)
        self.port = port


class LinkAbsent(LinkError):
    """There is no such port, peripheral or file."""


class LinkBusy(LinkError):
    """Another program holds the port."""


class LinkForbidden(LinkError):
    """The system refuses access to the port."""


class LinkLost(LinkError):
    """The link was open and died."""


class NoFrameFits(LinkError):
    """Bytes come but none of them form a frame of this driver.

    Attributes:
        first_bytes: what came first, at most 32 bytes.
    """

    def __init__(self, message: str, port: str = "", first_bytes: bytes = b"") -> None:
        super().__init__(message, port)
        self.first_bytes = first_bytes


class SessionError(MeterlogError):
    """Something about a session file.

    Attributes:
        path: the file as the user wrote it.
    """

    def __init__(self, message: str, path: str = "") -> None:
        super().__init__(message)
        self.path = path


class NotASession(SessionError):
    """The file is something else, or damaged beyond reading."""


class NewerSession(SessionError):
    """The file was written by a later version of this program."""


class EmptySession(SessionError):
    """The session holds no readings."""


class SessionBusy(SessionError):
    """Another recorder is writing this session."""


class SessionWriteFailed(SessionError, OSError):
    """The session cannot be written on: disk full, folder removed, no permission."""


class TableError(MeterlogError, ValueError):
    """A table from elsewhere cannot be imported as asked.

    Attributes:
        line: the line in the file, counted from 1; None where the whole file is meant.
    """

    def __init__(self, message: str, line: int | None = None) -> None:
        super().__init__(message)
        self.line = line


class LimitsError(MeterlogError, ValueError):
    """A limits file is wrong."""


class CircuitError(MeterlogError, ValueError):
    """A circuit or measurement file is wrong."""


class CompareError(MeterlogError, ValueError):
    """These captures cannot be compared."""


class DatasetError(MeterlogError, ValueError):
    """A dataset of many sessions cannot be made or read."""


class NotFetched(DatasetError):
    """A file on object storage cannot be fetched just now."""


class SettingsError(MeterlogError, ValueError):
    """The file of the user's settings is wrong, or cannot be written."""


class JobError(MeterlogError, ValueError):
    """A job cannot be read or written."""


class JobBusy(JobError):
    """Another program is writing the job."""


class NewerJob(JobError):
    """The job was written by a later version of this program."""
