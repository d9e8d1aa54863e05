"""Pages of what has personal text: as long as was asked for, or as their bytes allow."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from flask import g
from sqlalchemy import Connection

from service.log.read import PAGE_BYTES_MAX
from service.web.reading import Page
from service.web.recorded import text_sizes_at

_Item = TypeVar("_Item")
Facts = Mapping[int, Mapping[str, Any]]


def page_with_texts(
    connection: Connection,
    page: Page,
    items: Sequence[_Item],
    facts_of: Callable[[_Item], Facts],
) -> tuple[Page, dict[int, Mapping[str, Any]]]:
    """The page, shorter where its texts would be more than PAGE_BYTES_MAX, and the facts on it.

    `facts_of` gives, by position, what visibility asks of an item's events. One item at least
    stays.
    """
    facts_by_item = [facts_of(item) for item in page.cut(items)]
    every = {position: fact for facts in facts_by_item for position, fact in facts.items()}
    sizes = text_sizes_at(connection, g.token, every)
    kept: dict[int, Mapping[str, Any]] = {}
    total = 0
    for count, facts in enumerate(facts_by_item):
        total += sum(sizes.get(position, 0) for position in facts)
        if total > PAGE_BYTES_MAX and count:
            return replace(page, most=count), kept
        kept |= facts
    return page, kept
