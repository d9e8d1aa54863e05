"""What an example is."""

from collections.abc import Mapping
from typing import Any, NamedTuple

OFFICE = "//lantern/office"
LAYOUT = "//lantern/desks/layout"
ANIMATION = "//lantern/desks/animation"
SUPERVISION = "//lantern/supervision"
PRODUCTION = "//lantern/production"
OWNER = "//lantern/owner"
"""Sources, each that of the role which may record what is said under it; the owner's is the log's.
"""


class Example(NamedTuple):
    """One event of the story, less its id."""

    source: str
    type: str
    subject: str
    time: str
    data: Mapping[str, Any]
