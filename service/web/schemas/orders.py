"""Change orders as answers show them."""

from marshmallow import fields

from service.production.orders import STANDINGS
from service.vocabulary import kinds
from service.vocabulary.facts import Role
from service.vocabulary.facts.office import GATES, UNITS
from service.vocabulary.facts.orders import CHANGES, ORDERED_BY, OrderLine
from service.web.schemas import query
from service.web.schemas.common import Shown, described
from service.web.schemas.episodes import AgainstFormatShown
from service.web.schemas.fields import field_of, schema_of
from service.web.schemas.impact import ImpactShown
from service.web.schemas.reading import (
    PageQuery,
    choice,
    day,
    flag,
    moment,
    one,
    page_shown,
    quantity,
    several,
    whole,
    with_position,
    word,
    words,
)
from service.web.schemas.visits import LengthShown


class OrdersQuery(PageQuery):
    """Arguments of the list of change orders."""

    show = field_of(kinds.SHOW_CODE, note="Only orders of this show and its episodes.")
    episode = query.subject("Only orders raised on this episode.")
    standing = query.one_of(STANDINGS, "Only orders that stand so.")
    asked_by = query.one_of(ORDERED_BY, "Only orders that these ask for.")


class LineAmountShown(Shown):
    """What a line comes to."""

    line = whole("Which line, counted from 1.")
    amount = word("Its amount, as decimal text; negative is a credit.")


class OrderPriceShown(Shown):
    """The price that an order was given."""

    position = whole("The position of the log that the quote was made at.")
    currency = word("The currency (ISO 4217).")
    lines = several(LineAmountShown, "The amount of each line.")
    total = word("Their sum, as decimal text.")
    valid_until = day("The last day on which it can be approved so; null: not stated.")


class OrderStepShown(Shown):
    """One thing said of an order."""

    standing = choice(STANDINGS, "What the order was from then on.")
    position = whole("The position of its event.")
    at = moment("When it was said.", none=False)
    poster = word("The token that said it.")
    role = choice(tuple(Role), "The role of that token; null: not kept.", none=True)


class OrderShown(Shown):
    """A priced bundle of changes that somebody asks for."""

    order = word("Its code.")
    subject = word("The show or the episode.")
    asked_by = choice(ORDERED_BY, "Who asks for it.")
    words = word("In the asker's own words; null where they were removed.", none=True)
    standing = choice(STANDINGS, "Where it stands.")
    line_count = whole("How many lines it has.")
    steps = several(OrderStepShown, "What was said of it, in order of position.")
    price = one(OrderPriceShown, "The price; null: none as yet.", none=True)


class GateMoveShown(Shown):
    """A date that was agreed to move."""

    episode = word("The episode.")
    gate = choice(GATES, "The gate.")
    due_on = day("The date agreed.", none=False)


class WholeOrderShown(OrderShown):
    """An order with its lines."""

    lines = fields.List(
        fields.Nested(schema_of(OrderLine)),
        required=True,
        metadata=described("The changes, as they were raised."),
    )
    gates = several(GateMoveShown, "The dates agreed to move with the approval.")
    facts = fields.List(
        fields.Integer(),
        required=True,
        metadata=described("Positions of the facts that the approval recorded."),
    )
    why = word("Why it was declined or withdrawn; null where nothing was said.", none=True)


class QuotedWorkShown(Shown):
    """A department's work because of a line."""

    department = word("The department.")
    unit = choice(UNITS, "Its unit.")
    redone = quantity("Work of visits that are reopened.")
    added = quantity("Work of new visits, and more work of visits not begun.")
    dropped = quantity("Work no longer needed, of visits not begun.")
    rate = word("The price of one unit, as decimal text.")


class QuotedLineShown(Shown):
    """What a line comes to, and from what."""

    line = whole("Which line, counted from 1.")
    change = choice(CHANGES, "What it changes.")
    items = words("What it is about.")
    works = several(QuotedWorkShown, "The work by department, in the order of the line.")
    fee = word("The stated fee, as decimal text; null: none.", none=True)
    amount = word("What it comes to, as decimal text; negative is a credit.")


class FormatShown(Shown):
    """An episode's running total beside its format length."""

    length = one(LengthShown, "The running total of its scenes, those omitted left out.")
    format_length = one(LengthShown, "The length it must come to; null: no format.", none=True)
    against_format = one(
        AgainstFormatShown, "The total beside the format; null without one.", none=True
    )


class FormatMovedShown(Shown):
    """An episode whose running total the order changes."""

    episode = word("The episode.")
    before = one(FormatShown, "Without the order.")
    after = one(FormatShown, "With it.")


class StaleLineShown(Shown):
    """A line whose money is another than in the recorded price."""

    line = whole("Which line, counted from 1.")
    recorded = word("The amount in the price.")
    now = word("The amount of this quote.")


class QuoteShown(Shown):
    """An order's price as it would be now, and what the order would do."""

    order = word("The order.")
    show = word("The show whose rate card prices it.")
    at = moment("The moment of the quote; `time` of the event that records it.", none=False)
    on = day("The studio's date then, which chooses the rate card.", none=False)
    currency = word("The currency (ISO 4217).")
    credit = quantity("The share of the price credited for work no longer needed.")
    lines = several(QuotedLineShown, "The lines; each follows those before it.")
    total = word("Their sum, as decimal text.")
    price_is_stale = flag("Whether the recorded price differs; null: there is none.", none=True)
    stale_lines = several(StaleLineShown, "Where it differs.")
    lengths = several(FormatMovedShown, "Episodes whose running total changes.")
    impact = one(ImpactShown, "What the whole order does to the plan, at this moment.")


ORDERS_QUERY = OrdersQuery()
ORDERS = page_shown(OrderShown, "ChangeOrdersPage")
ORDER = with_position(WholeOrderShown, "ChangeOrderAnswer")
QUOTE = with_position(QuoteShown, "QuoteAnswer")
