"""Elements as JSON shows them."""

from service.planning.plan.standing import Standings, Stands
from service.production.approval import approval_standing
from service.production.route import APPROVAL
from service.production.state import Element
from service.vocabulary.identifiers import natural_order
from service.web.representation.values import Shown, shown_min, shown_us
from service.web.representation.visits import shown_visit


def shown_element(standings: Standings, name: str, element: Element) -> Shown:
    """An element with its visits."""
    return {
        "element": name,
        "kind": element.kind,
        "title": element.title,
        "drawings": element.drawings,
        "frames": element.frames,
        "priority": element.priority,
        "scenes": sorted(element.scenes, key=natural_order),
        "approval": _shown_approval(standings, name, element),
        "projected_finish_at": shown_min(standings.finish_min(name)),
        "visits": [shown_visit(visit) for visit in standings.visits(name)],
    }


def _shown_approval(standings: Standings, name: str, element: Element) -> Shown | None:
    needed = element.route.kinds[element.kind].approval
    if needed is None:
        return None
    visit = standings.visit(name, APPROVAL)
    asked = visit.stands is Stands.ON_DESK
    return {
        "standing": approval_standing(standings.state, name, element),
        "before": needed.before,
        "days": needed.days,
        "asked_of": element.asked_of or None,
        "asked_at": shown_us(visit.started_us) if asked else None,
        "answer_expected_at": shown_min(visit.projected_finish_min),
        "overdue_since_at": shown_min(visit.overdue_since_min),
        "answers": [
            {
                "answer": answer.answer,
                "by": answer.by,
                "at": shown_us(answer.at_us),
                "position": answer.position,
                "retake": answer.retake or None,
            }
            for answer in element.answers
        ],
    }
