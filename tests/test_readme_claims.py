"""What the README claims besides its examples, held against what the code gives."""

import re
from collections.abc import Callable

import pytest

from tests import places
from tests.outside import gaps

README = " ".join(places.README.read_text("utf-8").split())


def test_events_are_never_edited_or_deleted_and_text_can_be_removed() -> None:
    claims = re.findall(r"[^.]*\b(?:edited|deleted)\b[^.]*\.", README)
    assert claims
    for claim in claims:
        assert "Events are never edited or deleted" in claim
        assert re.search(r"what people wrote .*(can be removed|may have to go)", claim)


@pytest.mark.parametrize(
    ("table", "claim"),
    [
        (gaps.job_shop_gaps, r"seven published job shops, {mean} % later on average \({range} %\)"),
        (gaps.flow_shop_gaps, r"of ten flow shops {mean} % \({range} %\)"),
    ],
)
def test_how_much_later_than_the_optimum_plans_end(
    table: Callable[[], list[str]], claim: str
) -> None:
    """One measure: (end of the plan - proven optimum) / proven optimum, as the gaps print it."""
    *rows, means = table()[2:]
    of_rule = [float(row.split("|")[3].partition("(+")[2].rstrip("%) ")) for row in rows]
    mean = float(means.split("|")[3].strip(" +%"))
    shown = claim.format(mean=f"{mean:.0f}", range=rf"{min(of_rule):.0f} to {max(of_rule):.0f}")
    assert re.search(shown, README)
    assert len(of_rule) == (7 if table is gaps.job_shop_gaps else 10)
