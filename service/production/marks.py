"""What a recorded event is marked with: each is legal, and worth a look."""

from collections.abc import Mapping

LATE = "late"
UPSTREAM_MISSING = "upstream-missing"
HELD = "held"
DELIVERED = "delivered"
STOPPED = "stopped"
NOT_STARTED = "not-started"
NOT_ASKED = "not-asked"
BEFORE_APPROVAL = "before-approval"
OPEN_VISITS = "open-visits"
STILL_NEEDED = "still-needed"
WORK_BEGUN = "work-begun"
END_UNKNOWN = "end-unknown"
HARD_DATE_MOVED = "hard-date-moved"
GATES_OUT_OF_ORDER = "gates-out-of-order"
DATE_PAST = "date-past"
NOT_PLANNED = "not-planned"
GATE_OF_NOBODY = "gate-of-nobody"
RATES_LEFT_OUT = "rates-left-out"
ANSWERED_BY_ANOTHER = "answered-by-another"
LOOKS_LIKE_ANOTHER = "looks-like-another"

MEANINGS: Mapping[str, str] = {
    LATE: "a fact of the same subject with a later time was recorded before it",
    UPSTREAM_MISSING: "work began before all that it waits for was handed off",
    HELD: "work began on a scene that was held",
    DELIVERED: "work began in an episode that was delivered",
    STOPPED: "work began in a department that was stopped",
    NOT_STARTED: "a hand-off of what nobody recorded as started",
    NOT_ASKED: "an answer to a design that nobody asked about",
    BEFORE_APPROVAL: "a hand-off before a design that it uses was approved",
    OPEN_VISITS: "an episode was delivered with visits still open",
    STILL_NEEDED: "others wait for what they reuse of a scene out of the picture: that stays "
    "planned, or is planned again",
    WORK_BEGUN: "a scene changed after work on it, or on its episode, had begun: see what is to "
    "look at",
    END_UNKNOWN: "a department stopped and nobody knows until when: plans take it to last for the "
    "day",
    HARD_DATE_MOVED: "a hard date was moved or made soft, or one went or came back by a strike",
    GATES_OUT_OF_ORDER: "a date lies before that of a gate before it, or behind one behind it",
    DATE_PAST: "a date that was over when it was recorded",
    GATE_OF_NOBODY: "no department of the episode's route meets this gate: its date is kept, and "
    "nothing says whether it holds",
    NOT_PLANNED: "a retake asks for work that is not planned, since its scene is omitted or its "
    "episode delivered: restore the scene, or strike the delivery, to have it planned",
    RATES_LEFT_OUT: "a rate card without some department that the card before it has a rate for",
    ANSWERED_BY_ANOTHER: "a note was answered by another department than it was given to",
    LOOKS_LIKE_ANOTHER: "a code easily confused with one already there",
}
"""By mark, what it says."""
