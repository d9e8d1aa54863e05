"""Pages of what has personal text: as long as was asked for, or as their bytes allow."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from flask import g
from sqlalchemy import Connection

from service.web.reading import Page
from service.web.recorded import text_sizes_at
from service.web.services import services

_Item = TypeVar("_Item")
Facts = Mapping[int, Mapping[str, Any]]


def page_with_texts(
    connection: Connection,
    page: Page,
    items: Sequence[_Item],
    facts_of: Callable[[_Item], Facts],
) -> tuple[Page, dict[int, Mapping[str, Any]]]:
    """The page, shorter where its texts would be more than a page may have, and the facts on it.

    `facts_of` gives, by position, what visibility asks of an item's events. One item at least
    stays.
    """
    facts_by_item = [facts_of(item) for item in page.cut(items)]
    every = {position: fact for facts in facts_by_item for position, fact in facts.items()}
    sizes = text_sizes_at(connection, g.token, every)
    kept: dict[int, Mapping[str, Any]] = {}
    total, bytes_max = 0, services().page_bytes_max
    for count, facts in enumerate(facts_by_item):
        total += sum(sizes.get(position, 0) for position in facts)
        if total > bytes_max and count:
            return replace(page, most=count), kept
        kept |= facts
    return page, kept
