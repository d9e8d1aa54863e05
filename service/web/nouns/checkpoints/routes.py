"""Checkpoints: what the log says of itself, signed; to be kept elsewhere and held against it."""

from base64 import b64encode
from collections.abc import Callable
from typing import TypeVar

from flask import Blueprint, Response, g

from service.keys import Keys, KeysError, read_keys
from service.log import checkpoints as kept
from service.log.checkpoints import Signed, TooManyError
from service.proofs.checkpoints import read_checkpoint
from service.proofs.notes import ED25519, Key, NoteError, is_by, read_key, read_signature
from service.vocabulary.facts import Role
from service.web import negotiation, paging
from service.web.access import require
from service.web.answers import encoded
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.proofs import arguments as queries
from service.web.nouns.proofs.answers import CheckpointShown, CheckpointsShown, KeyShown, KeysShown
from service.web.nouns.proofs.arguments import NOTE
from service.web.pointers import FieldError
from service.web.problems import ProblemError
from service.web.schemas.events import schema_errors
from service.web.services import services
from service.web.strict_json import WHOLE_MAX

_Read = TypeVar("_Read")

checkpoints = Blueprint("checkpoints", __name__)

_QUERY, _POSTED = queries.CheckpointsQuery(), queries.CosignaturePosted()
_A_NOTE = {NOTE: {"type": "string"}}


@checkpoints.get("/checkpoints/latest")
@describe(
    "The checkpoint of all that is recorded",
    tag="proofs",
    details="A signed note (c2sp.org/signed-note, c2sp.org/tlog-checkpoint): origin, size, root, "
    "signatures. Keep it where nobody who runs this service can reach it.",
    answers={200: Answer("The checkpoint.", _A_NOTE)},
    problems=("unavailable", "unsound-tree"),
)
@require()
def show_latest() -> Response:
    """Sign what stands now, unless it is signed already."""
    negotiation.read_args()
    keys = _keys()
    with services().engine.begin() as connection:
        signed = kept.sign_latest(connection, g.token.studio, _origin(), keys.secret)
    return _shown(signed)


@checkpoints.get("/checkpoints/<int:size>")
@describe(
    "A past checkpoint, with the signatures of others",
    tag="proofs",
    answers={200: Answer("The checkpoint.", _A_NOTE)},
    problems=("not-found",),
)
@require()
def show_checkpoint(size: int) -> Response:
    """The checkpoint of a size, if one was signed."""
    negotiation.read_args()
    return _shown(_found(size))


@checkpoints.get("/checkpoints")
@describe(
    "The checkpoints that were signed, the largest first",
    tag="proofs",
    query=_QUERY,
    answers={
        200: Answer(
            "A page of checkpoints.",
            {JSON: CheckpointsShown},
            {"Link": "What follows (RFC 8288, rel=next), where there is more."},
        )
    },
)
@require()
def list_checkpoints() -> Response:
    """A page of checkpoints."""
    args = negotiation.read_args()
    studio, limit = g.token.studio, args["limit"]
    about = {"studio": studio}
    below = paging.number_of(args, about, WHOLE_MAX)
    with services().engine.connect() as connection:
        sizes = kept.sizes_signed(connection, studio, below, limit + 1)
        page = kept.read_signed(connection, studio, sizes[:limit])
    listed = CheckpointsShown(items=[_listed(signed) for signed in page])
    answer = Response(encoded(listed), content_type=JSON)
    if len(sizes) > limit:
        paging.say_next(answer, {}, limit, paging.make_cursor([page[-1].size], about))
    return answer


@checkpoints.get("/checkpoints/keys")
@describe(
    "The keys that checkpoints are and were signed with",
    tag="proofs",
    details="Ask for them once, on another way than the checkpoints if you can, and keep them.",
    answers={200: Answer("The keys.", {JSON: KeysShown})},
    problems=("unavailable",),
)
@require()
def show_keys() -> Response:
    """The key that signs now and those before it."""
    negotiation.read_args()
    keys = _keys()
    publics = [keys.public, *reversed(keys.past)]
    shown = [
        KeyShown(key=str(Key(_origin(), ED25519, public)), signs=public == keys.public)
        for public in publics
    ]
    return Response(encoded(KeysShown(origin=_origin(), keys=shown)), content_type=JSON)


@checkpoints.post("/checkpoints/<int:size>/cosignatures")
@describe(
    "Keep another party's signature of a checkpoint",
    tag="proofs",
    details="Plain (c2sp.org/signed-note) or with the time (c2sp.org/tlog-cosignature), Ed25519. "
    "It must be of this checkpoint and by the key that is named; whether that key is to be "
    "trusted is for the reader to say.",
    body={JSON: _POSTED},
    answers={
        201: Answer("The checkpoint with the signature below it.", _A_NOTE),
        200: Answer("It was kept before.", _A_NOTE),
    },
    problems=(
        *("malformed-json", "too-large", "unsupported-media-type", "invalid-event", "not-found"),
    ),
)
@require(Role.AUDITOR, Role.PRODUCER)
def post_cosignature(size: int) -> Response:
    """Check a signature and keep it."""
    negotiation.read_args()
    negotiation.posted_type(JSON)
    posted = negotiation.posted_json()
    errors = schema_errors(_POSTED, posted)
    if not isinstance(posted, dict) or errors:
        detail = 'Write {"key": a verifier\'s key, "signature": its line}.'
        raise ProblemError("invalid-event", detail, errors)
    signed = _found(size)
    key = _read(read_key, posted["key"], "/key")
    signature = _read(read_signature, posted["signature"], "/signature")
    if not is_by(signature, signed.note.text, key):
        detail = "It is not of this checkpoint by that key: sign the text above the empty line."
        raise ProblemError(
            "invalid-event", detail, [FieldError("/signature", detail, "wrong-signature")]
        )
    try:
        with services().engine.begin() as connection:
            new = kept.keep_cosignature(connection, g.token.studio, size, key, signature)
    except TooManyError as error:
        detail = f"{error}."
        raise ProblemError("invalid-event", detail, [FieldError("", detail, "too-many")]) from None
    answer = _shown(_found(size))
    answer.status_code = 201 if new else 200
    return answer


def _read(reader: Callable[[str], _Read], text: str, pointer: str) -> _Read:
    try:
        return reader(text)
    except NoteError as error:
        detail = f"{error}."
        raise ProblemError(
            "invalid-event", detail, [FieldError(pointer, detail, "wrong-form")]
        ) from None


def _found(size: int) -> Signed:
    found = []
    if size <= WHOLE_MAX:
        with services().engine.connect() as connection:
            found = kept.read_signed(connection, g.token.studio, [size])
    if not found:
        raise ProblemError("not-found", f"No checkpoint of size {size} was signed.")
    return found[0]


def _keys() -> Keys:
    settings = services().settings
    try:
        return read_keys(settings.keys_folder)
    except KeysError:
        # where the keys lie is nothing to tell
        detail = (
            "The service has no key to sign with: make one with `retake-ledger signing-key make`."
        )
        raise ProblemError("unavailable", detail, headers={"Retry-After": "60"}) from None


def _origin() -> str:
    return services().settings.origin_of(g.token.studio)


def _shown(signed: Signed) -> Response:
    return Response(str(signed.note), content_type=f"{NOTE}; charset=utf-8")


def _listed(signed: Signed) -> CheckpointShown:
    return CheckpointShown(
        size=signed.size,
        root=b64encode(read_checkpoint(signed.note.text).root).decode(),
        cosigned_by=[str(key) for key in signed.cosigners],
    )
