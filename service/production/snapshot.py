"""A state as bytes and back: what a fold came to, so that it need not be done again.

A snapshot is disposable. It says nothing that the log does not say, it is read only by the release
that wrote it, and `thaw(freeze(state))` equals the state.

A worker writes one in a thread of its own when it is 20,000 events past the last. It is read only
by a release whose `vocabulary/` and `production/` are byte for byte those that wrote it, only while
the tree's leaf at its position is the same, and only if its seal holds. A strike of an event that a
snapshot includes goes back to an older one, or to the beginning.
"""

from collections.abc import Iterator, Sequence
from hashlib import sha256
from typing import Any, NamedTuple, get_args, get_type_hints

import msgspec
from immutables import Map

from service.production.route import Route
from service.production.state import State
from service.production.visits import Visit
from service.vocabulary.facts.routes import RouteLaid

ITEMS_PER_PART = 2000
"""Items whose visits go into one part: what is encoded at once holds up everything else."""

_MAPS = {name: get_args(hint) for name, hint in get_type_hints(State).items()}
_Rest = msgspec.defstruct(
    "_Rest",
    # as pairs: a key may be a pair itself, which MessagePack has no maps for
    [(name, list[tuple[key, value]]) for name, (key, value) in _MAPS.items() if name != "visits"],  # type: ignore[valid-type]  # read at run time
    array_like=True,
    gc=False,
)
_read_routes = msgspec.msgpack.Decoder(list[RouteLaid]).decode
_read_visits = msgspec.msgpack.Decoder(dict[str, dict[str, Visit]]).decode
# msgspec works out a type at its first use, and not safely for several threads
msgspec.msgpack.Decoder(_Rest)


class Thawed(NamedTuple):
    """What a snapshot held: the state, and which events were struck, by whom (positions)."""

    state: State
    struck: dict[int, int]


def freeze(
    state: State, struck: dict[int, int], items_per_part: int = ITEMS_PER_PART
) -> Iterator[bytes]:
    """The parts of a snapshot, each encoded when it is asked for.

    Raises NotImplementedError for a state that holds what a snapshot has no form for.
    """
    digests = []
    for part in _parts(state, struck, items_per_part):
        digests.append(sha256(part).digest())
        yield part
    yield sha256(b"".join(digests)).digest()


def _parts(state: State, struck: dict[int, int], items_per_part: int) -> Iterator[bytes]:
    routes: dict[Route, int] = {}

    def numbered(value: Any) -> int:
        if not isinstance(value, Route):
            raise NotImplementedError(f"a state holds a {type(value).__name__}")
        return routes.setdefault(value, len(routes))

    encoder = msgspec.msgpack.Encoder(enc_hook=numbered)
    rest = {name: list(getattr(state, name).items()) for name in _Rest.__struct_fields__}
    packed = encoder.encode(_Rest(**rest))
    yield encoder.encode([route.fact for route in routes])
    yield packed
    yield encoder.encode(struck)
    items = list(state.visits.items())
    for first in range(0, len(items), items_per_part):
        yield encoder.encode(dict(items[first : first + items_per_part]))


def thaw(parts: Sequence[bytes]) -> Thawed:
    """What `freeze` was given. Raises msgspec.DecodeError for what it did not write."""
    # a byte that is not what it was may well decode, to a state that never was
    digest = sha256(b"".join(sha256(part).digest() for part in parts[:-1])).digest()
    if not parts or parts[-1] != digest:
        raise msgspec.DecodeError("these are not the parts of a snapshot as they were written")
    routes = [Route(fact) for fact in _read_routes(parts[0])]

    def route_of(type_: type, number: int) -> Any:
        return routes[number]

    rest = msgspec.msgpack.Decoder(_Rest, dec_hook=route_of).decode(parts[1])
    maps = {name: Map(getattr(rest, name)) for name in _Rest.__struct_fields__}
    struck = msgspec.msgpack.decode(parts[2], type=dict[int, int])
    visits: dict[str, dict[str, Visit]] = {}
    for part in parts[3:-1]:
        visits |= _read_visits(part)
    return Thawed(State({**maps, "visits": Map(visits)}), struck)
