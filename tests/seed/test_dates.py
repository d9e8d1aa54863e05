from datetime import date

from seed.dates import is_workday, recorded_dates, wall_min, workdays_after
from service.vocabulary.instants import format_min


def test_days_off_and_weekends_are_passed_over() -> None:
    # Easter Sunday of 2031 is 13 April (the Gregorian computus)
    assert not is_workday(date(2031, 4, 11))
    assert not is_workday(date(2031, 4, 12))
    assert workdays_after(date(2031, 4, 9), 1) == date(2031, 4, 15)
    assert workdays_after(date(2031, 4, 9), 0) == date(2031, 4, 9)


def test_wall_times_follow_the_clock_change() -> None:
    # summer time of the European Union begins on the last Sunday of March (Directive 2000/84/EC)
    assert format_min(wall_min(date(2031, 3, 28), 8 * 60 + 30)) == "2031-03-28T07:30:00Z"
    assert format_min(wall_min(date(2031, 3, 31), 8 * 60 + 30)) == "2031-03-31T06:30:00Z"


def test_the_record_spans_three_months() -> None:
    dates = recorded_dates()
    assert (dates[0], dates[-1]) == (date(2031, 3, 3), date(2031, 6, 3))
    assert len(dates) == 61
