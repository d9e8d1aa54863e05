"""What a delivery waits for."""

from service.planning.board.board import make_board
from service.planning.plan.chain import critical_chain
from service.planning.plan.schedule import Schedule, schedule
from service.vocabulary.calendar import NEVER
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.telling import ROUTE, Story, studio


def chain(story: Story, episode: str) -> list[tuple[str, str, str]]:
    made = schedule(make_board(story.state), parse_instant(story.now) // US_PER_MIN)
    nodes = made.board.frame.nodes
    return [(*nodes[link.row], link.bound) for link in critical_chain(made, episode)]


def test_an_artist_of_another_episode_can_be_what_holds_it_up() -> None:
    story = studio(scenes=1)
    found = chain(story, "KESTREL-2")
    # paint has two days for each scene and one artist: the second waits for the first
    assert ("KESTREL-1/1", "paint", "predecessor") in found
    assert ("KESTREL-2/1", "paint", "artist") in found
    assert found[0] == ("KESTREL-1/1", "layout", "calendar")
    assert found[-1] == ("KESTREL-2", "mix", "predecessor")


def test_a_chain_begins_with_what_is_on_a_desk() -> None:
    story = studio(scenes=1)
    story.now = "2031-03-03T10:00:00Z"
    story.desk("KESTREL-1/1", "layout", start="2031-03-03T09:00:00Z")
    assert chain(story, "KESTREL-1")[0] == ("KESTREL-1/1", "layout", "on_desk")


def test_a_chain_begins_with_a_hold() -> None:
    story = studio(scenes=1)
    story.tell("scene.held", "KESTREL-2/1", {"owes": "client", "by_on": "2031-05-01"})
    assert chain(story, "KESTREL-2")[0] == ("KESTREL-2/1", "layout", "hold")


def test_what_cannot_be_planned_leads_to_what_keeps_it_from_it() -> None:
    story = studio(scenes=1, episodes=("KESTREL-1",))
    nobody = {
        "department": "paint",
        "artists": 0,
        "units_per_artist_day": 20,
        "minutes_per_artist_day": 480,
        "from_on": "2031-01-01",
    }
    story.tell("crew.set", "studio", nobody)
    found = chain(story, "KESTREL-1")
    assert found[0] == ("KESTREL-1/1", "paint", "calendar")
    assert found[-1][:2] == ("KESTREL-1", "mix")


def test_no_chain_where_nothing_is_open_or_the_episode_is_unknown() -> None:
    story = studio(scenes=1)
    story.tell("episode.delivered", "KESTREL-1")
    assert chain(story, "KESTREL-1") == []
    assert chain(story, "KESTREL-9") == []
    story.now = "2031-04-01T10:00:00Z"
    story.desk("KESTREL-2", "mix", start="2031-03-31T10:00:00Z", end="2031-04-01T10:00:00Z")
    assert chain(story, "KESTREL-2") == []


def plan_of(story: Story) -> Schedule:
    return schedule(make_board(story.state), parse_instant(story.now) // US_PER_MIN)


def test_work_that_a_scene_out_of_the_picture_lends_does_not_decide_a_delivery() -> None:
    story = studio(
        scenes=2, route={**ROUTE, "gates": [{"gate": "delivery", "department": "animation"}]}
    )
    story.now = "2031-03-10T08:00:00Z"
    story.tell("scene.retimed", "KESTREL-1/2", {"frames": 4000})
    story.tell("priority.set", "KESTREL-1/1", {"priority": 5})
    story.tell("gate.set", "KESTREL-1", {"gate": "delivery", "due_on": "2031-03-20"})
    lent = {"source": "KESTREL-1/2", "joins": "camera", "strands": ["character"]}
    story.tell("same-as.declared", "KESTREL-2/1", lent)
    story.tell("scene.omitted", "KESTREL-1/2")
    assert chain(story, "KESTREL-1")[-1][:2] == ("KESTREL-1/1", "animation")
    plan = plan_of(story)
    row = plan.row(("KESTREL-1/2", "animation"))
    assert plan.latest_of()[row] == NEVER


def test_a_delivery_that_first_takes_have_met_waits_for_nothing() -> None:
    gates = [{"gate": "delivery", "department": "mix", "takes": "first"}]
    story = studio(scenes=1, route={**ROUTE, "gates": gates})
    story.now = "2031-03-10T08:00:00Z"
    story.tell("gate.set", "KESTREL-1", {"gate": "delivery", "due_on": "2031-03-07"})
    for department in ("layout", "background", "animation", "paint", "camera"):
        done = {"department": department}
        story.tell("hand-off.made", "KESTREL-1/1", done, at="2031-03-05T08:00:00Z")
    for department in ("cutting", "mix"):
        done = {"department": department}
        story.tell("hand-off.made", "KESTREL-1", done, at="2031-03-06T08:00:00Z")
    story.call("R1", "KESTREL-1", "mix", "sound", at="2031-03-07T08:00:00Z")
    plan = plan_of(story)
    row = plan.row(("KESTREL-1", "mix"))
    assert plan.finish_of()[row] > plan.now_min
    assert chain(story, "KESTREL-1") == []
    assert plan.latest_of()[row] == NEVER
