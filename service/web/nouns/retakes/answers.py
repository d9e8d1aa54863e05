"""Retakes as JSON shows them."""

from collections.abc import Sequence
from typing import Annotated

from service.planning.plan.standing import STANDS, Standings
from service.production.lending import Lending
from service.production.reach import reopened_by
from service.production.records import RETAKE_STANDINGS
from service.production.state import Retake, State, item_of, visit_of
from service.production.takes import Phase, Take
from service.production.work import work_of_take_e4
from service.vocabulary.cautions import BLAME, PEOPLE
from service.vocabulary.facts.retakes import ASKERS, KINDS, URGENCIES
from service.vocabulary.instants import format_instant
from service.web.answers import Instant, Quantity, Shown, answer_of, extended, note, one_of, page_of
from service.web.nouns.values import (
    shown_e4,
    shown_min,
    shown_us,
)
from service.web.nouns.visits import NodeShown, shown_nodes


class RetakeShown(Shown):
    """A call that reopens visits."""

    retake: Annotated[str, note("Its code.")]
    subject: Annotated[str, note("The subject of its event.")]
    position_called: Annotated[int, note("The position of the call.")]
    called_at: Annotated[Instant, note("When it was called.")]
    kind: Annotated[str, one_of(KINDS, "The kind of call.")]
    urgency: Annotated[str, one_of(URGENCIES, "How badly it is wanted.")]
    back_to: Annotated[str, note("From which department on.")]
    strands: Annotated[Sequence[str], note("What is touched.")]
    items: Annotated[Sequence[str], note("What it names.")]
    share: Annotated[
        Quantity, note("The share of the drawings touched; of several items, the largest.")
    ]
    drawings: Annotated[int | None, note("How many drawings, where the call says it so.")]
    found_at: Annotated[str | None, note("Where it was found.")]
    fault_of: Annotated[str | None, note(f"Whose fault it is. {BLAME}")]
    asked_by: Annotated[str, one_of(ASKERS, "Who asks for it.")]
    called_by: Annotated[
        str | None, note("The role that called it; null: recorded before roles were.")
    ]
    standing: Annotated[str, one_of(RETAKE_STANDINGS, "Whether it still stands.")]
    reopened: Annotated[int, note("How many visits have a take that it asks for.")]
    open: Annotated[int, note("How many of those are planned and not handed off.")]
    not_planned: Annotated[
        int,
        note(
            "How many more are not handed off and not planned, since their scenes are omitted or "
            "their episodes delivered."
        ),
    ]
    unanswered: Annotated[int, note("How many scenes still wait to be looked at.")]


class ReachedShown(Shown):
    """A visit in a retake's reach."""

    item: Annotated[str, note("The scene, element or episode.")]
    department: Annotated[str, note("The department.")]
    share: Annotated[Quantity, note("The share of it that is touched.")]
    via: Annotated[
        NodeShown | None, note("From which visit it was reached; null: the call names it.")
    ]


class TakeShown(Shown):
    """A take that a retake asks for."""

    item: Annotated[str, note("The scene, element or episode.")]
    department: Annotated[str, note("The department.")]
    take: Annotated[int, note("Its number.")]
    state: Annotated[str, one_of((*STANDS, Phase.TAKEN_BACK.value), "Where it stands.")]
    work: Annotated[Quantity, note("Its work, in the department's unit.")]
    unit: Annotated[str, note("The department's unit.")]
    artist: Annotated[str | None, note(f"Who has it, as an opaque code. {PEOPLE}")]
    started_at: Annotated[Instant | None, note("When it was started.")]
    handed_off_at: Annotated[Instant | None, note("When it was handed off.")]
    projected_finish_at: Annotated[Instant | None, note("When the plan has it handed off.")]
    overdue_since_at: Annotated[
        Instant | None, note("Since when it is overdue, on a desk or held; null: in time.")
    ]
    because: Annotated[list[NodeShown], note("From the visit that the retake names to this one.")]


class LookAtShown(Shown):
    """A scene that somebody must look at."""

    scene: Annotated[str, note("The scene.")]
    reason: Annotated[str, one_of(("hook-up", "marked"), "Why.")]
    beside: Annotated[Sequence[str], note("The scenes in reach that it must match.")]
    via: Annotated[list[NodeShown], note("Where a redo would begin by default.")]
    answer: Annotated[
        str | None, one_of(("fine", "redo"), "The answer; null: none yet.", none=True)
    ]


class WholeRetakeShown(RetakeShown):
    """A call with all that follows from it."""

    why: Annotated[str | None, note("What is wrong; null where it may not be read.")]
    reach: Annotated[list[ReachedShown], note("The visits in reach, nearest first.")]
    takes: Annotated[list[TakeShown], note("The takes it asks for.")]
    to_look_at: Annotated[list[LookAtShown], note("Scenes to look at.")]


def shown_retake(state: State, code: str, retake: Retake) -> RetakeShown:
    """A call, how much of it is open, and how many scenes wait to be looked at."""
    reopened = reopened_by(state, code, retake)
    lending = Lending(state)
    planned = [
        lending.needs(*step.node)
        for step, number in reopened
        if _take(state, step.node, number).phase in {Phase.WAITING, Phase.ON_DESK}
    ]
    standing = retake.standing == "standing"
    return RetakeShown(
        retake=code,
        subject=retake.subject,
        position_called=retake.position,
        called_at=format_instant(retake.called_us),
        kind=retake.kind,
        urgency=retake.urgency,
        back_to=retake.back_to,
        strands=sorted(retake.strands),
        items=retake.items,
        share=shown_e4(retake.share_e4),
        drawings=retake.drawings,
        found_at=retake.found_at,
        fault_of=retake.fault_of,
        asked_by=retake.asked_by,
        called_by=retake.called_by or None,
        standing=retake.standing,
        reopened=len(reopened),
        open=sum(planned),
        not_planned=len(planned) - sum(planned),
        unanswered=sum(standing and not look.answer for look in retake.look_at),
    )


def shown_retake_whole(
    standings: Standings, code: str, retake: Retake, why: str | None
) -> WholeRetakeShown:
    """A call with its reach, its takes and the scenes to look at."""
    state = standings.state
    return extended(
        WholeRetakeShown,
        shown_retake(state, code, retake),
        why=why,
        reach=[
            ReachedShown(
                item=step.node[0],
                department=step.node[1],
                share=shown_e4(step.share_e4),
                via=shown_nodes([step.via])[0] if step.via else None,
            )
            for step in retake.reach
        ],
        takes=[
            _shown_take(standings, code, step.node, number)
            for step, number in reopened_by(state, code, retake)
        ],
        to_look_at=_shown_look_at(state, retake),
    )


def _take(state: State, node: tuple[str, str], number: int) -> Take:
    return next(take for take in visit_of(state, *node).takes if take.number == number)


def _shown_take(standings: Standings, code: str, node: tuple[str, str], number: int) -> TakeShown:
    state = standings.state
    item, department = node
    take = _take(state, node, number)
    visit = standings.visit(item, department)
    newest = visit.take == number
    record = item_of(state, item)
    if record is None:
        raise LookupError(item)
    return TakeShown(
        item=item,
        department=department,
        take=number,
        state=visit.stands.value if newest else take.phase.value,
        work=shown_e4(work_of_take_e4(state, record, department, take)),
        unit=record.route.departments[department].unit,
        artist=take.artist,
        started_at=shown_us(take.started_us),
        handed_off_at=shown_us(take.ended_us) if take.phase is Phase.HANDED_OFF else None,
        projected_finish_at=shown_min(visit.projected_finish_min) if newest else None,
        overdue_since_at=shown_min(visit.overdue_since_min) if newest else None,
        because=shown_nodes(standings.because(code, node)),
    )


def _shown_look_at(state: State, retake: Retake) -> list[LookAtShown]:
    reached = {step.node[0] for step in retake.reach}
    return [
        LookAtShown(
            scene=look.scene,
            reason=look.reason,
            beside=[name for name in state.hook_ups.get(look.scene, ()) if name in reached],
            via=shown_nodes(step.node for step in look.via),
            answer=look.answer or None,
        )
        for look in retake.look_at
    ]


RETAKES = page_of(RetakeShown, "RetakesPage")
RETAKE = answer_of(WholeRetakeShown, "RetakeAnswer")
