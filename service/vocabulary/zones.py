"""The time zone data that dates are reckoned with: the installed release's, on every machine.

The machine's own would come first, and two machines would then plan differently.
"""

import zoneinfo
from zoneinfo import ZoneInfo

import tzdata  # type: ignore[import-untyped]  # it ships no types

__all__ = ["ZONE_DATA_VERSION", "ZoneInfo"]

zoneinfo.reset_tzpath(to=())
ZONE_DATA_VERSION: str = tzdata.IANA_VERSION
"""Which release of the IANA data it is; answers with dates name it."""
