"""Events as they are posted: read, checked and proposed, to be recorded or only tried."""

from collections.abc import Mapping, Sequence
from typing import Any

from service.log.tokens import Token
from service.production.refusal import Code, Refusal
from service.record import Proposed, propose
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.kinds import reviver
from service.vocabulary.sources import owns
from service.web import negotiation
from service.web.negotiation import BATCH, EVENT
from service.web.pointers import FieldError, first_of, step
from service.web.problems import ProblemError
from service.web.schemas.events import check_event, is_member, raw_members, split_personal
from service.web.services import services

BODY: Mapping[str, Mapping[str, Any]] = {
    EVENT: {"$ref": "#/components/schemas/Event"},
    BATCH: {"type": "array", "items": {"$ref": "#/components/schemas/Event"}},
}
PROBLEMS = (
    "malformed-json",
    "source-not-owned",
    "forbidden",
    "too-large",
    "unsupported-media-type",
    "invalid-event",
    "contradiction",
)
ERRORS_MAX = 1000
"""How many errors are told at once: what is posted may have more than an answer should."""
_REFUSED = ((Code.FORBIDDEN, "forbidden"), (Code.ID_REUSED, "id-reused"))


def events_posted(token: Token) -> tuple[list[Proposed], bool]:
    """The events in the body, and whether they came as a batch.

    Raises ProblemError with all that is wrong, one of PROBLEMS.
    """
    batch = negotiation.posted_type(EVENT, BATCH) == BATCH
    posted = _listed(negotiation.posted_json(), batch)
    _refuse_foreign_sources(posted, token, batch)
    _refuse_wrong_events(posted, batch)
    proposals = [_proposal(members) for members in posted]
    _refuse_long_texts(proposals, batch)
    return proposals, batch


def refused(refusal: Refusal, batch: bool) -> ProblemError:
    """The problem that tells a refusal."""
    codes = {reason.code for reason in refusal.reasons}
    name = next((name for code, name in _REFUSED if code in codes), "contradiction")
    errors = [
        FieldError(_at(reason.place, batch) + reason.member, reason.detail, reason.code)
        for reason in refusal.reasons[:ERRORS_MAX]
    ]
    reasons = "; ".join(reason.detail for reason in refusal.reasons[:3])
    return ProblemError(name, f"Nothing was recorded: {reasons.rstrip('.')}.", errors)


def _listed(posted: object, batch: bool) -> list[Any]:
    if not batch:
        if isinstance(posted, list):
            error = FieldError("", f"Write one event, or send them as {BATCH}.", "not-an-object")
            raise ProblemError("invalid-event", "A list of events is sent as a batch.", [error])
        return [posted]
    if not isinstance(posted, list):
        error = FieldError("", "Write a JSON array of events.", "not-a-list")
        raise ProblemError("invalid-event", "A batch is an array of events.", [error])
    most = services().settings.batch_events_max
    if len(posted) > most:
        detail = f"The batch has {len(posted)} events; at most {most} are taken at a time."
        raise ProblemError("too-large", detail)
    return posted


def _at(index: int, batch: bool) -> str:
    return step(index) if batch else ""


def _refuse_foreign_sources(posted: Sequence[Any], token: Token, batch: bool) -> None:
    prefix = token.source_prefix
    remedy = f"Write {prefix}, or {prefix.removesuffix('/')}/ and more, without . and .. segments."
    errors = [
        FieldError(_at(index, batch) + "/source", remedy, "source-not-owned")
        for index, members in enumerate(posted)
        if isinstance(members, dict)
        and isinstance(members.get("source"), str)
        and not owns(prefix, members["source"])
    ]
    if errors:
        detail = f"This token records events whose source is {prefix} or lies beneath it."
        raise ProblemError("source-not-owned", detail, errors)


def _refuse_wrong_events(posted: Sequence[Any], batch: bool) -> None:
    found = (
        error._replace(pointer=_at(index, batch) + error.pointer)
        for index, members in enumerate(posted)
        for error in check_event(members)
    )
    errors = first_of(found, ERRORS_MAX)
    if errors:
        more = "" if next(found, None) is None else ", or more"
        detail = f"Nothing was recorded; members that are wrong: {len(errors)}{more}."
        raise ProblemError("invalid-event", detail, errors)


def _refuse_long_texts(proposals: Sequence[Proposed], batch: bool) -> None:
    """Raise ProblemError where an event has more personal text than is kept of one."""
    most = services().settings.text_bytes_max
    errors = [
        _long_text(proposed.personal, _at(index, batch), most)
        for index, proposed in enumerate(proposals)
        if proposed.personal is not None and len(proposed.personal) > most
    ]
    if errors:
        raise ProblemError("invalid-event", "Nothing was recorded; texts are too long.", errors)


def _long_text(packed: bytes, at: str, most: int) -> FieldError:
    """The error of an event's personal text, at its longest member."""
    sizes = {name: len(raw) for name, raw in raw_members(packed).items()}
    longest = max(sizes, key=lambda name: sizes[name])
    detail = (
        f"Personal text and members that the type does not name have {len(packed)} bytes; at most "
        f"{most} are kept of one event. Shorten this, the longest of them."
    )
    return FieldError(at + longest, detail, "text-too-long")


def _proposal(members: dict[str, Any]) -> Proposed:
    public, personal = split_personal(members)
    fact = reviver(CATALOGUE[public["type"]])(public["data"])
    aside = tuple(pointer for pointer in personal if not is_member(public["type"], pointer))
    return propose(public, personal, fact, aside)
