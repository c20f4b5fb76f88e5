"""Says what the user's settings put on a page: the shop with its logo, and the language of dates."""

from __future__ import annotations

from dataclasses import dataclass

from meterlog.report.pictures import picture_uri
from meterlog.settings import Settings


@dataclass(frozen=True, slots=True)
class Letterhead:
    """The top of a page.

    Attributes:
        name: of the shop; empty where nobody said.
        address: its lines.
        logo: a `data:` address; empty for none.
        dates: the language that dates are written in, a tag of RFC 5646; empty for ISO 8601.
    """

    name: str = ""
    address: tuple[str, ...] = ()
    logo: str = ""
    dates: str = ""


def letterhead(settings: Settings) -> Letterhead:
    """Take it from the settings.

    Raises:
        UsageError: the logo cannot be read.
    """
    shop = settings.shop
    return Letterhead(shop.name, shop.address, picture_uri(shop.logo) if shop.logo else "", settings.dates)
