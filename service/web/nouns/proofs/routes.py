"""Proofs of the record: what an auditor holds against a checkpoint kept elsewhere."""

from base64 import b64encode

from flask import Blueprint, Response, g
from msgspec import Raw

from service.log import append, read
from service.log.tree import read_proof, read_root
from service.proofs.paths import consistency, inclusion
from service.proofs.tree import leaf_hash
from service.vocabulary.facts.base import ABOVE_DESKS
from service.web import negotiation
from service.web.access import require
from service.web.answers import encoded
from service.web.described import Answer, describe
from service.web.negotiation import EVENT, JSON
from service.web.nouns.proofs import arguments as queries
from service.web.nouns.proofs.answers import ConsistencyShown, InclusionShown, PersonalShown
from service.web.pointers import FieldError
from service.web.problems import ProblemError
from service.web.services import services
from service.web.strict_json import WHOLE_MAX

proofs = Blueprint("proofs", __name__)
_INCLUSION, _CONSISTENCY = queries.InclusionQuery(), queries.ConsistencyQuery()


@proofs.get("/proofs/inclusion")
@describe(
    "The proof that an event is in the record",
    tag="proofs",
    details="RFC 9162, section 2.1.3, over the tree of RFC 6962: leaves are the events' recorded "
    "bytes, in order of position.",
    query=_INCLUSION,
    answers={200: Answer("The proof.", {JSON: InclusionShown})},
    problems=("not-found",),
    lane="costly",
)
@require(*ABOVE_DESKS)  # a few figures withheld from a desk could be guessed from their leaf
def prove_inclusion() -> Response:
    """The hashes beside the way from a leaf to the root."""
    args = negotiation.read_args()
    studio, position = g.token.studio, args["position"]
    with services().engine.connect() as connection:
        head = append.read_head(connection, studio).position
        size = args.get("size", head)
        _within("size", size, head)
        _within("position", position, size)
        hashes = read_proof(connection, studio, inclusion(position - 1, size))
        root = read_root(connection, studio, size)
        ((_, body),) = read.bodies(connection, studio, position - 1, position)
    proof = InclusionShown(
        position=position,
        leaf_index=position - 1,
        size=size,
        leaf=_shown(leaf_hash(body)),
        root=_shown(root),
        hashes=[_shown(found) for found in hashes],
    )
    return Response(encoded(proof), content_type=JSON)


@proofs.get("/proofs/consistency")
@describe(
    "The proof that the record goes on from what it was",
    tag="proofs",
    details="RFC 9162, section 2.1.4: nothing of the older tree was altered or taken out.",
    query=_CONSISTENCY,
    answers={200: Answer("The proof.", {JSON: ConsistencyShown})},
    problems=("not-found",),
    lane="costly",
)
@require()
def prove_consistency() -> Response:
    """The hashes that lead from an older root to a newer one."""
    args = negotiation.read_args()
    studio, old = g.token.studio, args["old"]
    with services().engine.connect() as connection:
        head = append.read_head(connection, studio).position
        new = args.get("new", head)
        _within("to", new, head)
        _within("from", old, new)
        hashes = read_proof(connection, studio, consistency(old, new))
        roots = read_root(connection, studio, old), read_root(connection, studio, new)
    proof = ConsistencyShown(
        from_size=old,
        to_size=new,
        from_root=_shown(roots[0]),
        to_root=_shown(roots[1]),
        hashes=[_shown(found) for found in hashes],
    )
    return Response(encoded(proof), content_type=JSON)


@proofs.get("/events/<int:position>/recorded")
@describe(
    "An event's recorded bytes: the leaf of the tree",
    tag="proofs",
    details="RFC 8785 bytes. SHA-256 of a zero byte and these bytes is the leaf's hash. Personal "
    "text is not in them; in its place stands a salted commitment.",
    answers={200: Answer("The bytes.", {EVENT: {"$ref": "#/components/schemas/RecordedEvent"}})},
    problems=("not-found",),
    lane="costly",
)
@require(*ABOVE_DESKS)
def show_recorded(position: int) -> Response:
    """The bytes as they were hashed."""
    negotiation.read_args()
    found: list[tuple[int, bytes]] = []
    if 0 < position <= WHOLE_MAX:
        with services().engine.connect() as connection:
            found = read.bodies(connection, g.token.studio, position - 1, position)
    if not found:
        raise ProblemError("not-found", f"The log has no event at position {position}.")
    return Response(found[0][1], content_type=EVENT)


@proofs.get("/events/<int:position>/personal")
@describe(
    "An event's personal text, with what proves it",
    tag="proofs",
    details="SHA-256 of the salt followed by the RFC 8785 bytes of `personal` is the commitment "
    "in the event's recorded bytes, in hexadecimal. Not found where the event never had personal "
    "text, or it was erased.",
    answers={200: Answer("The text and its salt.", {JSON: PersonalShown})},
    problems=("not-found",),
    lane="costly",
)
@require(*ABOVE_DESKS)
def show_personal(position: int) -> Response:
    """The personal members by JSON pointer, and the salt."""
    negotiation.read_args()
    found = None
    if 0 < position <= WHOLE_MAX:
        with services().engine.connect() as connection:
            found = read.salted_at(connection, g.token.studio, position)
    if found is None:
        raise ProblemError("not-found", f"Position {position} has no personal text, or no more.")
    salt, content = found
    # as it was kept: made into objects it could take a multiple of its bytes
    shown = PersonalShown(position=position, salt=salt.hex(), personal=Raw(content))
    return Response(encoded(shown), content_type=JSON)


def _within(name: str, value: int, most: int) -> None:
    """Raises ProblemError (404) beyond the record, or beyond the tree that is asked about."""
    if value > most:
        detail = f"Write at most {most}." if most else "Nothing is recorded yet."
        raise ProblemError("not-found", detail, [FieldError(f"?{name}", detail, "beyond-the-log")])


def _shown(found: bytes) -> str:
    return b64encode(found).decode()
