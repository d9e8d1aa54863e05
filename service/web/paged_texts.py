"""Pages of what has personal text: as long as was asked for, or as their bytes allow."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

from flask import g
from sqlalchemy import Connection

from service.web.reading import Page
from service.web.recorded import text_sizes_at
from service.web.services import services
from service.web.visibility import Concern

_Item = TypeVar("_Item")
Concerns = Mapping[int, Concern]


def page_with_texts(
    connection: Connection,
    page: Page,
    items: Sequence[_Item],
    concerns_of: Callable[[_Item], Concerns],
) -> tuple[Page, Concerns]:
    """Shorten a page until its texts are no more than a page may have; one item at least stays.

    Returns the page and, by position, the concerns of its events, of which `concerns_of` gives
    those of an item.
    """
    by_item = [concerns_of(item) for item in page.cut(items)]
    every = {position: one for concerns in by_item for position, one in concerns.items()}
    sizes = text_sizes_at(connection, g.token, every)
    kept: dict[int, Concern] = {}
    total, bytes_max = 0, services().page_bytes_max
    for count, concerns in enumerate(by_item):
        total += sum(sizes.get(position, 0) for position in concerns)
        if total > bytes_max and count:
            return replace(page, most=count), kept
        kept |= concerns
    return page, kept
