"""What would follow from events that are not recorded.

A question is decided without an actor, so that facts of any roles may stand together, money among
them: every role that may ask sees money. A rule that looks at a role does not bind a question.
"""

from collections.abc import Sequence

from flask import Blueprint, Response, g

from service.planning.compare.impact import compare
from service.planning.compare.pricing import quoted
from service.planning.plan.schedule import RULES_VERSION
from service.production.decide import Past, decide, strikes_first
from service.production.refusal import Refusal, at_places
from service.record import event_of
from service.vocabulary.event import Event
from service.vocabulary.facts import Role
from service.vocabulary.facts.record import EventStruck
from service.vocabulary.zones import ZONE_DATA_VERSION
from service.web import negotiation, posted
from service.web.access import require
from service.web.answers import encoded
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.impacts.answers import ImpactShown, shown_impact
from service.web.reading import Reading, read_now
from service.web.schemas.reading import READ
from service.web.services import services

what_if = Blueprint("what_if", __name__)

ASKING = (Role.OFFICE, Role.SUPERVISOR, Role.PRODUCER)
"""Who may ask. A question may hold facts about money, so these may see money, every one."""


@what_if.post("/what-if")
@describe(
    "The impact that events would have, without recording them",
    tag="what-if",
    details="The body is like that of POST /events, checked and decided in the same way on a "
    "branch of the log's head, which is `position`; both plans are made at the studio's `now`. "
    "Since nothing is recorded, facts of any roles may be asked about together: a retake, hours "
    "and a crew in one batch. `source` is the asker's own.",
    query=READ,
    body=posted.BODY,
    dates=True,
    answers={200: Answer("The impact. Nothing was recorded.", {JSON: ImpactShown})},
    problems=(*posted.PROBLEMS, "not-yet"),
    lane="costly",
)
@require(*ASKING)
def try_events() -> Response:
    """Decide events on a branch, and compare the plans."""
    args = negotiation.read_args()
    proposals, batch = posted.events_posted(g.token)
    reading = read_now(args)
    view = reading.view
    places = strikes_first([proposed.fact for proposed in proposals])
    events = [
        event_of(proposals[place], position, view.now_us, g.token)
        for position, place in enumerate(places, view.position + 1)
    ]
    past = _past(reading, events)
    decided = decide(view.state, events, None, past, quoted)
    if isinstance(decided, Refusal):
        raise posted.refused(at_places(decided, places), batch)
    impact = compare(reading.studio.planned(view), reading.studio.branched(view, decided.state))
    shown = shown_impact(impact, view.position, RULES_VERSION, ZONE_DATA_VERSION)
    return Response(encoded(shown), content_type=JSON)


def _past(reading: Reading, events: Sequence[Event]) -> Past | None:
    """What a strike is decided against; None where nothing is struck."""
    strikes = [event.fact.position for event in events if isinstance(event.fact, EventStruck)]
    if not strikes:
        return None
    reached = max(1, min(*strikes, reading.position + 1))
    with services().engine.connect() as connection:
        return reading.studio.history.past(connection, reached, reading.position, ())
