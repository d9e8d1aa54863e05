"""What a type of fact is made of beside its members."""

from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from service.production.refusal import Reason
from service.production.state import Draft
from service.vocabulary.event import Event


class Rule(NamedTuple):
    """The rule of one type of fact; each part is called with the fact of that type.

    `check` gives every reason against recording it; `apply` writes what it changes into a draft,
    and is total over what `check` lets pass; `say` tells it in a sentence.
    """

    check: Callable[[Draft, Event, Any], Iterator[Reason]]
    apply: Callable[[Draft, Event, Any], None]
    say: Callable[[Event, Any], str]
