"""Visits as JSON shows them."""

from service.planning.plan.standing import Standing
from service.web.representation.values import (
    Shown,
    shown_e4,
    shown_min,
    shown_nodes,
    shown_us,
)


def shown_visit(visit: Standing) -> Shown:
    """A visit at one department, within its item."""
    shown = {
        "department": visit.department,
        "take": visit.take,
        "state": visit.stands.value,
        "work": shown_e4(visit.work_e4),
        "unit": visit.unit,
        "artist": visit.artist,
        "started_at": shown_us(visit.started_us),
        "handed_off_at": shown_us(visit.handed_off_us),
        "projected_start_at": shown_min(visit.projected_start_min),
        "projected_finish_at": shown_min(visit.projected_finish_min),
        "latest_finish_at": shown_min(visit.latest_finish_min),
        "overdue_since_at": shown_min(visit.overdue_since_min),
        "float_workdays": visit.float_workdays,
        "must_fix": visit.must_fix,
    }
    if visit.unapproved:
        shown["waits_for_approval"] = visit.unapproved
    if visit.marks:
        shown["marks"] = visit.marks
    if visit.retakes:
        shown["retakes"] = visit.retakes
        shown["because"] = shown_nodes(visit.because)
    return shown
