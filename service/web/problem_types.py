"""The types of problem: stable names, statuses, and what each means."""

from typing import NamedTuple

from service.studio import WAIT_S_MAX
from service.web.position_waits import FAR


class ProblemType(NamedTuple):
    """One kind of problem; `name` ends its URI and never changes its meaning."""

    name: str
    status: int
    title: str
    meaning: str


TYPES: dict[str, ProblemType] = {
    kind.name: kind
    for kind in (
        ProblemType(
            "bad-request",
            400,
            "The request cannot be understood",
            "The request as such is faulty. The detail says what to change.",
        ),
        ProblemType(
            "malformed-json",
            400,
            "The body is not JSON that can be taken",
            "The body must be one JSON document in UTF-8: no repeated names in an object, no NaN, "
            "no NUL character, no half of a surrogate pair, no whole number beyond 2^53 - 1, not "
            "nested too deeply.",
        ),
        ProblemType(
            "invalid-query",
            400,
            "An argument of the query is unknown or wrong",
            "Each error names an argument. Arguments that are not known are refused, so that a "
            "misspelt filter does not answer with everything.",
        ),
        ProblemType(
            "no-token",
            401,
            "A token is needed",
            "Send `Authorization: Bearer <token>` (RFC 6750). A token in the address, in a form or "
            "in a cookie is not taken.",
        ),
        ProblemType(
            "invalid-token",
            401,
            "The token is not valid",
            "The token is unknown, or has been withdrawn. Ask the office for another.",
        ),
        ProblemType(
            "insufficient-scope",
            403,
            "The token's role may not do this",
            "What was asked needs another role; the detail names those that may.",
        ),
        ProblemType(
            "source-not-owned",
            403,
            "The event's source is not the token's",
            "A token may only record events whose `source` is its own or lies beneath it, segment "
            "by segment, so that nobody can take another's event ids.",
        ),
        ProblemType(
            "forbidden",
            403,
            "The role may not record this fact",
            "Each error names an event that the token's role or departments may not record. "
            "Nothing of the post was recorded.",
        ),
        ProblemType(
            "not-found",
            404,
            "There is nothing here",
            "The address names nothing that exists.",
        ),
        ProblemType(
            "method-not-allowed",
            405,
            "The method is not served here",
            "The `Allow` header lists the methods of this address.",
        ),
        ProblemType(
            "not-acceptable",
            406,
            "No representation of that type",
            "The `Accept` header takes none of the media types that this address gives. The detail "
            "lists them, and the answer has a link to each (`rel=alternate`, with its `type`).",
        ),
        ProblemType(
            "id-reused",
            409,
            "The id was used for another event",
            "An event with this `source` and `id` and other content is in the log. Give the new "
            "event an id of its own. Nothing of the post was recorded.",
        ),
        ProblemType(
            "clock-refused",
            409,
            "The clock cannot be set so",
            "Only a simulated clock can be moved, and only forward, at most 366 days at a time: it "
            "cannot be taken back. Go further in steps.",
        ),
        ProblemType(
            "no-quote",
            409,
            "There is no quote of this order",
            "The order is no longer open, one of its lines could not be carried out now, or the "
            "show's rate card has no price for what it takes. Each error points into the order as "
            "it was raised.",
        ),
        ProblemType(
            "too-large",
            413,
            "The body is too large",
            "Post fewer events at a time.",
        ),
        ProblemType(
            "unsupported-media-type",
            415,
            "The body's content type is not taken",
            "The `Accept` header of the answer lists the types that are, `Accept-Encoding` the "
            "encodings. Events are CloudEvents 1.0 in JSON, structured or batch mode.",
        ),
        ProblemType(
            "invalid-event",
            422,
            "The body is not what is wanted",
            "Each error points to a member of the body and says what it must be. Nothing was "
            "recorded.",
        ),
        ProblemType(
            "contradiction",
            422,
            "The record says otherwise",
            "What was posted contradicts what is recorded. Every reason is listed. Nothing of "
            "the post was recorded.",
        ),
        ProblemType(
            "too-many-requests",
            429,
            "Too many requests",
            "The number of requests of a token in a window of time is limited, as "
            "`RateLimit-Policy` says, and so is the number of wrong tokens that come from one "
            "address. Ask again after the time that `Retry-After` "
            "gives; events can be posted in batches.",
        ),
        ProblemType(
            "internal-error",
            500,
            "A fault of the service",
            "The fault is in the service's own log under the trace given. The same request can "
            "be sent again: an event is recorded at most once.",
        ),
        ProblemType(
            "no-plan",
            500,
            "No plan can be made",
            "A fault in the service keeps plans from being made; `item` is what it was met at, "
            "where it is a single one. What follows from the record alone still answers, and posts "
            "are taken. Tell whoever runs the service the trace.",
        ),
        ProblemType(
            "not-yet",
            503,
            "The log has not come so far",
            "`min_position` names a position that the log did not reach while the request waited: "
            f"{WAIT_S_MAX:g} seconds at most, and not at all where the log is more than {FAR:,} "
            "events behind or others wait already. A receipt gives positions that it has.",
        ),
        ProblemType(
            "being-built",
            503,
            "What is asked for is being built",
            "It follows from the log and has not been built so far: after a change of the rules, "
            "say, or where more is recorded than a worker may work out for readers. Ask again "
            "after the time that `Retry-After` gives.",
        ),
        ProblemType(
            "unsound-tree",
            503,
            "The tree over the record is not sound",
            "The hashes that are kept with the record do not agree with each other, or with the "
            "events. Nothing was recorded or signed: it would rest on what is wrong. Whoever runs "
            "the service is to look at it; what is read without a proof still answers.",
        ),
        ProblemType(
            "unavailable",
            503,
            "Not available for the moment",
            "Try again after the time that `Retry-After` gives.",
        ),
    )
}
