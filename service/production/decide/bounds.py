"""How far from the studio's clock the dates of a new fact may lie.

A bound for what is recorded from now on: what is in the record already is folded, and decided anew
behind a strike, without it.
"""

from datetime import MAXYEAR, MINYEAR, date
from itertools import islice

from service.production.asking import Reasons
from service.production.refusal import Code, Reason
from service.vocabulary.dates import dates_of
from service.vocabulary.event import Event
from service.vocabulary.instants import instant

DATE_BOUND_YEARS = 30
"""No production's calendar, crew or gate is further from its studio's clock, either way."""
NAMED_MAX = 50
"""So many dates of a fact are named at most, so that a refusal of long lists stays small."""


def dates_against(event: Event) -> Reasons:
    """Each date or instant in the fact's data that is too far from the clock, by its member."""
    now_on = instant(event.recorded_us).date()
    first, last = _years_on(now_on, -DATE_BOUND_YEARS), _years_on(now_on, DATE_BOUND_YEARS)
    far = ((member, on) for member, on in dates_of(event.fact) if not first <= on <= last)
    for member, on in islice(far, NAMED_MAX):
        yield Reason(
            Code.CONTRADICTION,
            f"{on} lies more than {DATE_BOUND_YEARS} years from the studio's clock; write a date "
            f"from {first} to {last}",
            f"/data{member}",
        )


def _years_on(on: date, years: int) -> date:
    """The same day so many years on; 28 February where there is no 29th."""
    year = min(max(on.year + years, MINYEAR), MAXYEAR)
    try:
        return on.replace(year=year)
    except ValueError:
        return on.replace(year=year, day=28)
