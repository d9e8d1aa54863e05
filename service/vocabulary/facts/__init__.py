"""One frozen dataclass per fact, by who records it, and the catalogue of all of them."""

from service.vocabulary.facts.approval import ApprovalAsked, ApprovalGiven, ApprovalRefused
from service.vocabulary.facts.base import Fact, Role
from service.vocabulary.facts.desks import (
    DepartmentResumed,
    DepartmentStopped,
    HandOffMade,
    HandOffRefused,
    HandOutMade,
    WorkStarted,
)
from service.vocabulary.facts.office import (
    CalendarSet,
    CrewSet,
    ElementListed,
    ElementUsed,
    EpisodeOpened,
    GateSet,
    HookUpDeclared,
    RouteLaid,
    SameAsDeclared,
    SceneListed,
    SceneOmitted,
    SceneRestored,
    SceneRetimed,
    ShowOpened,
)
from service.vocabulary.facts.orders import (
    ChangeOrderApproved,
    ChangeOrderDeclined,
    ChangeOrderPriced,
    ChangeOrderRaised,
    ChangeOrderWithdrawn,
)
from service.vocabulary.facts.rates import RateSet
from service.vocabulary.facts.record import EventStruck, TextForgotten
from service.vocabulary.facts.retakes import RetakeBoughtAsIs, RetakeCalled, RetakeWithdrawn
from service.vocabulary.facts.supervision import (
    EpisodeDelivered,
    LookAtAnswered,
    PrioritySet,
    SceneBought,
    SceneFreed,
    SceneHeld,
    VisitPutFirst,
)
from service.vocabulary.facts.talk import NoteAnswered, NoteGiven

__all__ = ["CATALOGUE", "Fact", "Role"]

CATALOGUE: dict[str, type[Fact]] = {
    fact.TYPE: fact
    for fact in (
        RouteLaid,
        CalendarSet,
        CrewSet,
        RateSet,
        ShowOpened,
        EpisodeOpened,
        GateSet,
        SceneListed,
        SceneRetimed,
        SceneOmitted,
        SceneRestored,
        ElementListed,
        ElementUsed,
        HookUpDeclared,
        SameAsDeclared,
        HandOutMade,
        WorkStarted,
        HandOffMade,
        HandOffRefused,
        DepartmentStopped,
        DepartmentResumed,
        SceneHeld,
        SceneFreed,
        VisitPutFirst,
        PrioritySet,
        LookAtAnswered,
        SceneBought,
        EpisodeDelivered,
        NoteGiven,
        NoteAnswered,
        ApprovalAsked,
        ApprovalGiven,
        ApprovalRefused,
        RetakeCalled,
        RetakeWithdrawn,
        RetakeBoughtAsIs,
        ChangeOrderRaised,
        ChangeOrderPriced,
        ChangeOrderApproved,
        ChangeOrderDeclined,
        ChangeOrderWithdrawn,
        EventStruck,
        TextForgotten,
    )
}
