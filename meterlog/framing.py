"""The door for packages that bring framing drivers of their own; inside, `meterlog.driver.framing` is used."""

from meterlog.driver.framing import Decoder, Encoder, Framing, FramingDriver, JoinsMidway, framing_of

__all__ = ["Decoder", "Encoder", "Framing", "FramingDriver", "JoinsMidway", "framing_of"]
