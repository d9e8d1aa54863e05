"""The quotation of a change order: all its figures as text, for paper in any form.

They are made from the record as it was known just before the price, at the price's own moment,
which never changes: the PDF is the same byte by byte. The page and the PDF only place these texts.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from zoneinfo import ZoneInfo

from service.planning.compare.impact import EpisodeImpact, Impact
from service.planning.compare.pricing import Quote, QuotedLine, QuotedWork
from service.planning.plan.schedule import Supposition
from service.production.ordered import Order
from service.production.state import STUDIO_CALENDAR, Episode, State
from service.vocabulary.cautions import TAXES
from service.vocabulary.facts.orders import OrderLine
from service.vocabulary.footage import footage
from service.vocabulary.instants import US_PER_MIN, instant
from service.vocabulary.money import decimals_of
from service.vocabulary.quantities import ONE_E4

PAPERS = ("a4", "letter")
"""The papers of the PDF."""

NONE = "-"
UNKNOWN = "not projected"


@dataclass(frozen=True, slots=True)
class WorkText:
    """A department's work in one line; quantities align by their points."""

    department: str
    unit: str
    redone: str
    added: str
    dropped: str
    rate: str


@dataclass(frozen=True, slots=True)
class LineText:
    """One line: what it changes, the work of it, a fee if there is one, and its amount."""

    number: str
    what: str
    works: tuple[WorkText, ...]
    fee: str
    amount: str


@dataclass(frozen=True, slots=True)
class MoveText:
    """An episode whose delivery moves."""

    episode: str
    due: str
    before: str
    after: str
    margin_before: str
    margin_after: str


@dataclass(frozen=True, slots=True)
class LengthText:
    """An episode whose running total is another."""

    episode: str
    before: str
    after: str
    format: str
    stands: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything on the paper, in its order.

    `facts` are pairs of a name and its value; `others` says what no row of `moves` says; `caution`
    is what the prices leave out.
    """

    studio: str
    heading: str
    order: str
    facts: tuple[tuple[str, str], ...]
    words: str
    currency: str
    lines: tuple[LineText, ...]
    total: str
    rule: str
    caution: str
    moves: tuple[MoveText, ...]
    others: str
    lengths: tuple[LengthText, ...]
    basis: str


@dataclass(frozen=True, slots=True)
class Made:
    """What a quotation is made of.

    `state` and `after` are the record at the quote's moment without and with the order's lines;
    `at_us` is that moment.
    """

    studio: str
    code: str
    order: Order
    words: str
    quote: Quote
    impact: Impact
    state: State
    after: State
    at_us: int
    versions: str


def sheet(made: Made) -> Sheet:
    """The texts of a quotation."""
    quote, order = made.quote, made.order
    figures = _Figures.of(quote)
    moves = [episode for episode in made.impact.episodes if _moves(episode)]
    credit = figures.quantity(quote.credit_e4 * 100)
    return Sheet(
        studio=made.studio,
        heading="Quotation" if order.price is not None else "Estimate, not yet a quotation",
        order=made.code,
        facts=tuple(_facts(made)),
        words=made.words,
        currency=quote.currency,
        lines=tuple(
            _line(order_line, line, figures)
            for order_line, line in zip(order.lines, quote.lines, strict=True)
        ),
        total=figures.amount(quote.total),
        rule=(
            "The amount of a line is the work redone and added at the rate of its unit, less "
            f"{credit} % of the rate for work no longer needed that had not begun, and its fee, "
            f"rounded once. All amounts are in {quote.currency}."
        ),
        caution=TAXES,
        moves=tuple(_move(episode) for episode in moves),
        others=_others(len(moves), len(made.impact.episodes)),
        lengths=tuple(_lengths(made.state, made.after)),
        basis=_basis(made),
    )


def _facts(made: Made) -> Iterable[tuple[str, str]]:
    order, quote = made.order, made.quote
    show = made.state.shows[quote.show]
    yield "Show", f"{show.title} ({quote.show})"
    if order.subject != quote.show:
        episode = made.state.episodes.get(order.subject)
        yield "Episode", f"{episode.title} ({order.subject})" if episode else order.subject
    yield "Asked for by", order.asked_by
    yield "Date", shown_date(quote.on)
    if order.price is not None:
        until = order.price.valid_until
        yield "Valid until", "no date stated" if until is None else shown_date(until)
    yield "Standing", order.standing


def _basis(made: Made) -> str:
    price = made.order.price
    position = made.quote.position if price is None else price.position
    zone = made.state.calendars[STUDIO_CALENDAR].zone
    basis = (
        f"Made on the record up to event {position}, {_moment(made.at_us, zone)} ({zone}); "
        f"{made.versions}. Dates are projections by the record, the calendars and the crews known "
        "then."
    )
    return " ".join([basis, *(_supposed(one, zone) for one in made.impact.suppositions)])


def _supposed(one: Supposition, zone: str) -> str:
    """What the dates rest on where a department does not work."""
    if one.end_min is None:
        return f"{one.department} does not work, and nothing says until when."
    until = _moment(one.end_min * US_PER_MIN, zone)
    return f"{one.department} does not work; it is taken to go on from {until}."


def _moment(at_us: int, zone: str) -> str:
    at = instant(at_us).astimezone(ZoneInfo(zone))
    return f"{shown_date(at.date())}, {at:%H:%M}"


def shown_date(on: date | None) -> str:
    """A date as people write it."""
    return UNKNOWN if on is None else f"{on.day} {on:%B %Y}"


@dataclass(frozen=True, slots=True)
class _Figures:
    """How many decimals each kind of figure has, so that a column's points stand in a line."""

    money: int
    rates: int
    quantities: int

    @classmethod
    def of(cls, quote: Quote) -> "_Figures":
        money = decimals_of(quote.currency)
        works = [work for line in quote.lines for work in line.works]
        amounts = [work.redone_e4 for work in works]
        amounts += [more for work in works for more in (work.added_e4, work.dropped_e4)]
        needed = [len(f"{amount % ONE_E4:04d}".rstrip("0")) for amount in amounts]
        return cls(
            money,
            max([money, *(_decimals(work.rate) for work in works)]),
            max(needed, default=0),
        )

    def amount(self, amount: Decimal) -> str:
        """Money to the currency's minor unit, thousands apart."""
        return f"{amount:,.{self.money}f}"

    def rate(self, rate: Decimal) -> str:
        """A price of a unit, which may be finer."""
        return f"{rate:,.{self.rates}f}"

    def quantity(self, amount_e4: int) -> str:
        """Work, with no more decimals than some quantity of this kind needs."""
        return f"{Decimal(amount_e4) / ONE_E4:f}"

    def work(self, amount_e4: int) -> str:
        """A quantity in a column; nothing is a dash."""
        return f"{Decimal(amount_e4) / ONE_E4:,.{self.quantities}f}" if amount_e4 else NONE


def _decimals(value: Decimal) -> int:
    exponent = value.normalize().as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _line(order_line: OrderLine, line: QuotedLine, figures: _Figures) -> LineText:
    return LineText(
        number=str(line.number),
        what=_what(order_line, line.items),
        works=tuple(_work(work, figures) for work in line.works),
        fee="" if line.fee is None else figures.rate(line.fee),
        amount=figures.amount(line.amount),
    )


def _work(work: QuotedWork, figures: _Figures) -> WorkText:
    return WorkText(
        department=work.department,
        unit=work.unit,
        redone=figures.work(work.redone_e4),
        added=figures.work(work.added_e4),
        dropped=figures.work(work.dropped_e4),
        rate=figures.rate(work.rate),
    )


def _what(order_line: OrderLine, items: tuple[str, ...]) -> str:
    """A line in words."""
    share = _share(order_line)
    match order_line.change:
        case "retake":
            kind = (order_line.kind or "revision").capitalize()
            strands = ", ".join(sorted(order_line.strands))
            return f"{kind} from {order_line.back_to} on ({strands}){share}: {', '.join(items)}"
        case "add":
            return f"New scene {order_line.scene}, {shown_length(order_line.frames or 0)}"
        case "retime":
            return f"New length of {order_line.scene}: {shown_length(order_line.frames or 0)}"
        case "redesign":
            return f"New design of {order_line.element}{share}"
        case "fee":
            return f"Fee: {order_line.what}"
    return f"{order_line.change.capitalize()} {order_line.scene}"


def _share(order_line: OrderLine) -> str:
    if order_line.share_e4 is not None:
        return f", {Decimal(order_line.share_e4) / 100:f} % of the drawings"
    return "" if order_line.drawings is None else f", {order_line.drawings} drawings of each"


def shown_length(frames: int) -> str:
    """A length in frames, and in feet and frames."""
    length = footage(frames)
    return f"{frames} frames ({length.feet} ft {length.frames} fr)"


def _moves(episode: EpisodeImpact) -> bool:
    return (episode.delivery_before_on, episode.margin_workdays_before) != (
        episode.delivery_after_on,
        episode.margin_workdays_after,
    )


def _move(episode: EpisodeImpact) -> MoveText:
    due_on = episode.due_on
    return MoveText(
        episode=episode.episode,
        due="none set" if due_on is None else shown_date(due_on),
        before=shown_date(episode.delivery_before_on),
        after=shown_date(episode.delivery_after_on),
        margin_before=_margin(episode.margin_workdays_before, due_on, episode.delivery_before_on),
        margin_after=_margin(episode.margin_workdays_after, due_on, episode.delivery_after_on),
    )


def _margin(days: int | None, due_on: date | None, delivery_on: date | None) -> str:
    """Working days to the date; what comes behind it over days off is late without losing one."""
    if days is None or due_on is None or delivery_on is None:
        return NONE
    return f"{days} (late)" if delivery_on > due_on else str(days)


def _others(moved: int, counted: int) -> str:
    if moved == 0:
        return "No episode's delivery date moves."
    if moved == counted:
        return "These are all the episodes in work."
    return "No other episode's delivery date moves."


def _lengths(before: State, after: State) -> Iterable[LengthText]:
    for name, episode in sorted(after.episodes.items()):
        was = before.episodes[name]
        if was.scene_frames != episode.scene_frames:
            yield LengthText(
                episode=name,
                before=shown_length(was.scene_frames),
                after=shown_length(episode.scene_frames),
                format="none" if episode.frames is None else shown_length(episode.frames),
                stands=_against_format(episode),
            )


def _against_format(episode: Episode) -> str:
    if episode.frames is None:
        return NONE
    over = episode.scene_frames - episode.frames
    if over == 0:
        return "as the format"
    return f"{shown_length(abs(over))} {'over' if over > 0 else 'short'}"
