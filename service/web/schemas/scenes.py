"""Scenes as answers show them."""

from service.production.approval import STANDINGS as APPROVAL_STANDINGS
from service.production.records import CHANGES
from service.vocabulary.facts.retakes import KINDS, URGENCIES
from service.web.schemas.common import Shown
from service.web.schemas.notes import NoteShown
from service.web.schemas.reading import (
    choice,
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
from service.web.schemas.visits import HoldShown, LengthShown, NodeShown, VisitShown

STANDINGS = ("standing", "withdrawn", "bought-as-is")


class SceneShown(Shown):
    """One camera set-up."""

    scene = word("The scene.")
    number = word("Its number within the episode.")
    length = one(LengthShown, "Its length.")
    drawings = whole("How many drawings.")
    levels = whole("How many levels of characters.")
    omitted_at = moment("When it was omitted; null: it is in the picture.")
    bought_at = moment("When it was bought; null: not yet.")
    priority = whole("Its own priority; higher goes first; null: its episode's.", none=True)
    hold = one(HoldShown, "What it waits for; null: nothing holds it.", none=True)
    projected_finish_at = moment("When the last of its visits is, or was, handed off.")
    visits = several(VisitShown, "The departments it visits itself, in order.")


class UsedShown(Shown):
    """An element that a scene uses."""

    element = word("The element.")
    kind = word("Its kind.")
    title = word("Its title.", none=True)
    feeds = word("The department it is there for.")
    approval = choice(
        APPROVAL_STANDINGS, "Where its approval stands; null: it needs none.", none=True
    )


class SameShown(Shown):
    """What a scene reuses of another."""

    source = word("The scene it reuses.")
    joins = word("Where it joins that scene.")
    strands = words("What is reused.")
    levels = words("Which levels; empty: all of it.")


class TouchingShown(Shown):
    """A retake that concerns a scene."""

    retake = word("Its code.")
    called_at = moment("When it was called.", none=False)
    kind = choice(KINDS, "The kind of call.")
    urgency = choice(URGENCIES, "How badly it is wanted.")
    back_to = word("From which department on.")
    standing = choice(STANDINGS, "Whether it still stands.")
    reaches = flag("Whether visits of this scene are in its reach.")
    to_look_at = flag("Whether it asks to look at this scene.")
    answer = choice(("fine", "redo"), "The answer; null: none yet.", none=True)


class BegunShown(NodeShown):
    """A visit that had begun before its scene changed."""

    take = whole("The take that had begun.")


class ChangedShown(Shown):
    """A change of a scene that somebody must look at: what was done no longer matches it."""

    scene = word("The scene.")
    reason = choice(CHANGES, "How it changed.")
    position = whole("The position of the event that changed it.")
    at = moment("When it changed.", none=False)
    frames_before = whole("Its part of the picture before, in frames; 0: it was not in it.")
    frames_after = whole("Its part of the picture since.")
    visits = several(BegunShown, "The visits that had begun and have not been redone since.")


class WholeHoldShown(HoldShown):
    """What a scene waits for, and why."""

    why = word("Why; null where it may not be read.", none=True)


class WholeSceneShown(SceneShown):
    """A scene with all that concerns it."""

    hold = one(WholeHoldShown, "What it waits for; null: nothing holds it.", none=True)
    elements = several(UsedShown, "The elements it uses.")
    to_look_at = several(
        ChangedShown, "Changes after work had begun, until that is redone or answered for."
    )
    hook_ups = words("Scenes whose end or start must match it.")
    same_as = several(SameShown, "What it reuses.")
    reused_by = words("Scenes that reuse it.")
    notes = several(NoteShown, "Its open notes, the newest first, at most 100; `/notes` has all.")
    retakes = several(TouchingShown, "Retakes that concern it, the newest first.")


SCENES = page_shown(SceneShown, "ScenesPage")
SCENE = with_position(WholeSceneShown, "SceneAnswer")
