"""Episodes and gates as answers show them."""

from service.planning.plan.chain import BOUNDS
from service.planning.plan.standing import STANDS
from service.vocabulary import kinds
from service.vocabulary.cautions import PEOPLE
from service.vocabulary.facts.office import GATES
from service.web.schemas import query
from service.web.schemas.common import Shown
from service.web.schemas.fields import field_of
from service.web.schemas.reading import (
    PageQuery,
    choice,
    day,
    flag,
    moment,
    one,
    page_shown,
    several,
    whole,
    with_position,
    word,
    words,
)
from service.web.schemas.scenes import ChangedShown
from service.web.schemas.visits import CountsShown, LengthShown, VisitShown


class EpisodesQuery(PageQuery):
    """Arguments of the list of episodes."""

    show = field_of(kinds.SHOW_CODE, note="Only episodes of this show.")
    delivered = query.flag("Only delivered ones (true), or only those that are not (false).")


class GateShown(Shown):
    """A date an episode must meet, when it was met, and when the plan meets it.

    Of a delivered episode, as it stood when it was delivered.
    """

    gate = choice(GATES, "The gate.")
    due_on = day("The date; due at the end of that day. null: not set.")
    hard = flag("Whether the date cannot move.")
    met_on = day(
        "When it was first met: all hand-offs that meet it had been made, those of omitted scenes "
        "left out; the delivery of a delivered episode, when it was delivered. It stays whatever "
        "is reopened or listed later. null: not yet."
    )
    projected_on = day(
        "Since when it stands met; while work is open that meets it, when the plan has that done. "
        "null where it cannot be said, and where it was open when the episode was delivered."
    )
    margin_workdays = whole(
        "Working days from the projected date to the date; negative is late. 0 too where only "
        "days off lie between them.",
        none=True,
    )
    date_holds = flag(
        "Whether the projected date is not behind the date, days off counted like any other; false "
        "too where the plan never meets it. null where "
        "no date is set, no department of the route meets it, no visit is there to meet it, or it "
        "was open when the episode was delivered.",
        none=True,
    )


class AgainstFormatShown(Shown):
    """How far an episode's scenes are from its format length."""

    stands = choice(("over", "short", "exact"), "Whether the scenes run over it or fall short.")
    by = one(LengthShown, "By how much; never negative.")


class EpisodeShown(Shown):
    """One half hour."""

    episode = word("The episode.")
    show = word("Its show.")
    title = word("Its title.")
    delivered_at = moment("When it was delivered; null: not yet.")
    priority = whole("Its priority; higher goes first.")
    scenes = whole("How many scenes, those omitted left out.")
    length = one(LengthShown, "The running total of its scenes, those omitted left out.")
    format_length = one(LengthShown, "The length it must come to; null: no format.", none=True)
    against_format = one(
        AgainstFormatShown, "The total beside the format; null without one.", none=True
    )
    visits = one(CountsShown, "How many visits, of its own and its scenes', stand where.")
    gates = several(GateShown, "Its gates.")


class LinkShown(Shown):
    """A visit that decides when the episode can be delivered."""

    item = word("The scene, element or episode; not always of this episode: desks are shared.")
    department = word("The department.")
    take = whole("Its take.")
    state = choice(STANDS, "Where it stands.")
    artist = word(f"Who has it, as an opaque code. {PEOPLE}", none=True)
    started_at = moment("When it was started.")
    projected_start_at = moment("When the plan has it start.")
    projected_finish_at = moment("When the plan has it handed off.")
    overdue_since_at = moment("Since when it is overdue, on a desk or held; null: in time.")
    bound = choice(
        ("on_desk", *BOUNDS.values()),
        "What keeps it from starting earlier: it is on a desk, a visit before it, an artist who "
        "is not free, closing hours, a hold, or that it starts now.",
    )
    owes = word(
        "Who owes it: its department, or whoever owes the answer it is held for or was asked for; "
        "approval where nobody is asked yet."
    )
    waits_for_approval = words(
        "The elements that must be approved before it is handed off, and are not.", required=False
    )


class WholeEpisodeShown(EpisodeShown):
    """An episode with what its delivery waits for."""

    drawings = whole("How many drawings its scenes have.")
    scenes_omitted = whole("How many scenes are omitted.")
    episode_visits = several(VisitShown, "Its own visits, such as storyboard and mix.")
    to_look_at = several(
        ChangedShown, "Its scenes that changed after work had begun, until redone or answered for."
    )
    waits_on = one(LinkShown, "The visit on which delivery waits now.", none=True)
    critical_chain = several(
        LinkShown, "The visits that decide when it can be delivered, the first to be done first."
    )


EPISODES_QUERY = EpisodesQuery()
EPISODES = page_shown(EpisodeShown, "EpisodesPage")
EPISODE = with_position(WholeEpisodeShown, "EpisodeAnswer")
