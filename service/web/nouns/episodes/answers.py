"""Episodes and their gates as JSON shows them."""

from collections.abc import Mapping, Sequence
from typing import Annotated

from msgspec import UNSET, UnsetType

from service.planning.plan.chain import BOUNDS, Link, critical_chain
from service.planning.plan.gates import gate_standings
from service.planning.plan.schedule import Schedule
from service.planning.plan.standing import STANDS, Standings, Stands
from service.production.route import APPROVAL
from service.production.state import Episode, Scene, State, rate_of
from service.vocabulary.cautions import PEOPLE
from service.vocabulary.facts.routes import GATES
from service.vocabulary.footage import Rate
from service.vocabulary.identifiers import natural_order
from service.web.answers import Day, Instant, Shown, answer_of, extended, note, one_of, page_of
from service.web.nouns.scenes.answers import ChangedShown, shown_to_look_at
from service.web.nouns.values import (
    shown_min,
    shown_on,
    shown_us,
)
from service.web.nouns.visits import (
    CountsShown,
    LengthShown,
    VisitShown,
    shown_length,
    shown_visit,
)


class GateShown(Shown):
    """A date an episode must meet, when it was met, and when the plan meets it.

    Of a delivered episode, as it stood when it was delivered.
    """

    gate: Annotated[str, one_of(GATES, "The gate.")]
    due_on: Annotated[Day | None, note("The date; due at the end of that day. null: not set.")]
    hard: Annotated[
        bool, note("Whether it moves only with an approved change order, or by the producer.")
    ]
    met_on: Annotated[
        Day | None,
        note(
            "When it was first met: all hand-offs that meet it had been made, those of omitted "
            "scenes left out; the delivery of a delivered episode, when it was delivered. It "
            "stays whatever is reopened or listed later. null: not yet."
        ),
    ]
    projected_on: Annotated[
        Day | None,
        note(
            "Since when it stands met; while work is open that meets it, when the plan has that "
            "done. null where it cannot be said, and where it was open when the episode was "
            "delivered."
        ),
    ]
    margin_workdays: Annotated[
        int | None,
        note(
            "Working days from the projected date to the date; negative is late. 0 too where only "
            "days off lie between them."
        ),
    ]
    date_holds: Annotated[
        bool | None,
        note(
            "Whether the projected date is not behind the date, days off counted like any other; "
            "false too where the plan never meets it. null where no date is set, no department of "
            "the route meets it, no visit is there to meet it, or it was open when the episode "
            "was delivered."
        ),
    ]


class AgainstFormatShown(Shown):
    """How far an episode's scenes are from its format length."""

    stands: Annotated[
        str, one_of(("over", "short", "exact"), "Whether the scenes run over it or fall short.")
    ]
    by: Annotated[LengthShown, note("By how much; never negative.")]


class FormatShown(Shown):
    """An episode's running total beside its format length."""

    length: Annotated[LengthShown, note("The running total of its scenes, those omitted left out.")]
    format_length: Annotated[
        LengthShown | None, note("The length it must come to; null: no format.")
    ]
    against_format: Annotated[
        AgainstFormatShown | None, note("The total beside the format; null without one.")
    ]


class EpisodeShown(Shown):
    """One half hour."""

    episode: Annotated[str, note("The episode.")]
    show: Annotated[str, note("Its show.")]
    title: Annotated[str, note("Its title.")]
    delivered_at: Annotated[Instant | None, note("When it was delivered; null: not yet.")]
    priority: Annotated[int, note("Its priority; higher goes first.")]
    scenes: Annotated[int, note("How many scenes, those omitted left out.")]
    length: Annotated[LengthShown, note("The running total of its scenes, those omitted left out.")]
    format_length: Annotated[
        LengthShown | None, note("The length it must come to; null: no format.")
    ]
    against_format: Annotated[
        AgainstFormatShown | None, note("The total beside the format; null without one.")
    ]
    visits: Annotated[
        CountsShown, note("How many visits, of its own and its scenes', stand where.")
    ]
    gates: Annotated[list[GateShown], note("Its gates.")]


class LinkShown(Shown):
    """A visit that decides when the episode can be delivered."""

    item: Annotated[
        str, note("The scene, element or episode; not always of this episode: desks are shared.")
    ]
    department: Annotated[str, note("The department.")]
    take: Annotated[int, note("Its take.")]
    state: Annotated[str, one_of(STANDS, "Where it stands.")]
    artist: Annotated[str | None, note(f"Who has it, as an opaque code. {PEOPLE}")]
    started_at: Annotated[Instant | None, note("When it was started.")]
    projected_start_at: Annotated[Instant | None, note("When the plan has it start.")]
    projected_finish_at: Annotated[Instant | None, note("When the plan has it handed off.")]
    overdue_since_at: Annotated[
        Instant | None, note("Since when it is overdue, on a desk or held; null: in time.")
    ]
    bound: Annotated[
        str,
        one_of(
            ("on_desk", *BOUNDS.values()),
            "What keeps it from starting earlier: it is on a desk, a visit before it, an artist "
            "who is not free, closing hours, a hold, or that it starts now.",
        ),
    ]
    owes: Annotated[
        str,
        note(
            "Who owes it: its department, or whoever owes the answer it is held for or was asked "
            "for; approval where nobody is asked yet."
        ),
    ]
    waits_for_approval: Annotated[
        Sequence[str] | UnsetType,
        note("The elements that must be approved before it is handed off, and are not."),
    ] = UNSET


class WholeEpisodeShown(EpisodeShown):
    """An episode with what its delivery waits for."""

    drawings: Annotated[int, note("How many drawings its scenes have.")]
    scenes_omitted: Annotated[int, note("How many scenes are omitted.")]
    episode_visits: Annotated[list[VisitShown], note("Its own visits, such as storyboard and mix.")]
    to_look_at: Annotated[
        list[ChangedShown],
        note("Its scenes that changed after work had begun, until redone or answered for."),
    ]
    waits_on: Annotated[LinkShown | None, note("The visit on which delivery waits now.")]
    critical_chain: Annotated[
        list[LinkShown],
        note("The visits that decide when it can be delivered, the first to be done first."),
    ]


def shown_episode(standings: Standings, name: str, counts: Mapping[str, int]) -> EpisodeShown:
    """An episode in a list of them; `counts` say how many of its visits stand where."""
    episode = standings.state.episodes[name]
    return extended(
        EpisodeShown,
        shown_format(episode, rate_of(standings.state, name)),
        episode=name,
        show=episode.show,
        title=episode.title,
        delivered_at=shown_us(episode.delivered_us),
        priority=episode.priority,
        scenes=len(_scenes(standings.state, episode)),
        visits=CountsShown(**counts),
        gates=shown_gates(standings.schedule, name),
    )


def shown_episode_whole(
    standings: Standings, name: str, counts: Mapping[str, int]
) -> WholeEpisodeShown:
    """An episode with what its delivery waits for."""
    episode = standings.state.episodes[name]
    scenes = _scenes(standings.state, episode)
    chain = critical_chain(standings.schedule, name)
    links = [_shown_link(standings, link) for link in chain]
    return extended(
        WholeEpisodeShown,
        shown_episode(standings, name, counts),
        drawings=sum(scene.drawings for scene in scenes),
        scenes_omitted=len(episode.scenes) - len(scenes),
        episode_visits=[shown_visit(visit) for visit in standings.visits(name)],
        to_look_at=[
            look
            for scene in sorted(episode.scenes, key=natural_order)
            for look in shown_to_look_at(standings.state, scene)
        ],
        waits_on=links[0] if links else None,
        critical_chain=links,
    )


def shown_format(episode: Episode, rate: Rate) -> FormatShown:
    """What the scenes in the picture come to, beside the format length if there is one."""
    length, wanted = episode.scene_frames, episode.frames
    if wanted is None:
        return FormatShown(
            length=shown_length(length, rate), format_length=None, against_format=None
        )
    stands = "over" if length > wanted else "short" if length < wanted else "exact"
    by = shown_length(abs(length - wanted), rate)
    return FormatShown(
        length=shown_length(length, rate),
        format_length=shown_length(wanted, rate),
        against_format=AgainstFormatShown(stands=stands, by=by),
    )


def _scenes(state: State, episode: Episode) -> list[Scene]:
    return [scene for name in episode.scenes if not (scene := state.scenes[name]).omitted]


def shown_gates(schedule: Schedule, episode: str) -> list[GateShown]:
    """Every gate of an episode that is set, or that its route meets, in the order of the line."""
    shown = []
    standings = gate_standings(schedule, episode)
    for name in sorted(standings, key=GATES.index):
        standing = standings[name]
        gate = standing.gate
        shown.append(
            GateShown(
                gate=name,
                due_on=shown_on(gate.due_on) if gate else None,
                hard=bool(gate and gate.hard),
                met_on=shown_on(standing.met_on),
                projected_on=shown_on(standing.projected_on),
                margin_workdays=standing.margin_workdays,
                date_holds=standing.date_holds,
            )
        )
    return shown


def _shown_link(standings: Standings, link: Link) -> LinkShown:
    schedule = standings.schedule
    item, department = schedule.board.frame.nodes[link.row]
    visit = standings.visit(item, department)
    scene = standings.state.scenes.get(item)
    hold = scene.hold if scene and link.bound == "hold" else None
    owes = hold.owes if hold else department
    if department == APPROVAL and visit.stands is Stands.ON_DESK:
        owes = standings.state.elements[item].asked_of
    return LinkShown(
        item=item,
        department=department,
        take=visit.take,
        state=visit.stands.value,
        artist=visit.artist,
        started_at=shown_us(visit.started_us),
        projected_start_at=shown_min(visit.projected_start_min),
        projected_finish_at=shown_min(visit.projected_finish_min),
        overdue_since_at=shown_min(visit.overdue_since_min),
        bound=link.bound,
        owes=owes,
        waits_for_approval=visit.unapproved or UNSET,
    )


EPISODES = page_of(EpisodeShown, "EpisodesPage")
EPISODE = answer_of(WholeEpisodeShown, "EpisodeAnswer")
