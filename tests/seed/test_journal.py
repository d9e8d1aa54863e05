import pytest

from seed.journal import DatedFact, Journal
from seed.opening import office_opening
from seed.scenario import EPISODES, episode_subject

EPISODE = episode_subject(EPISODES[0].code)


@pytest.fixture
def journal() -> Journal:
    journal = Journal()
    opening = office_opening()
    journal.move_clock(max(fact.at_min for fact in opening) + 10)
    journal.post("office", opening)
    return journal


def scene(journal: Journal, number: int) -> DatedFact:
    data = {"frames": 80, "drawings": 20}
    return DatedFact(journal.clock_min, "scene.listed", f"{EPISODE}/{number}", data)


def test_a_refused_fact_is_a_fault_and_nothing_is_posted(journal: Journal) -> None:
    journal.take_day()
    missing = DatedFact(journal.clock_min, "scene.bought", f"{EPISODE}/1", {})
    with pytest.raises(ValueError, match="is refused"):
        journal.post("supervisor", [missing])
    assert journal.take_day().posts == ()


def test_posts_are_split_ordered_by_time_and_number_the_log(journal: Journal) -> None:
    before = journal.position
    scenes = [scene(journal, number) for number in range(501)]
    early = scenes[-1]._replace(at_min=journal.clock_min - 5)
    positions = journal.post("office", [*scenes[:-1], early])
    assert positions == [*range(before + 2, before + 502), before + 1]
    *_, first, second = journal.take_day().posts
    assert [len(first.events), len(second.events)] == [500, 1]
    assert first.events[0]["subject"] == f"{EPISODE}/500"
    identities = {event["id"] for post in (first, second) for event in post.events}
    assert len(identities) == 501


def test_what_is_struck_no_longer_counts(journal: Journal) -> None:
    (position,) = journal.post("office", [scene(journal, 1)])
    journal.post("office", [scene(journal, 2)])
    strike = DatedFact(
        journal.clock_min, "event.struck", "studio", {"position": position, "why": "x"}
    )
    journal.post("office", [strike, scene(journal, 3)])
    assert journal.state.episodes[EPISODE].scenes == (f"{EPISODE}/2", f"{EPISODE}/3")
    # a later strike is decided on what stands without the first one's event
    journal.post("office", [strike._replace(data={"position": position + 1, "why": "x"})])
    assert journal.state.episodes[EPISODE].scenes == (f"{EPISODE}/3",)
