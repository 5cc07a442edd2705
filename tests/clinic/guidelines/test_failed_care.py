"""Good care has failed only where it was given, in full, for long enough, and a podiatrist said so."""

from datetime import date, timedelta
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.guidelines.failed_care import CARE_DAYS, NOT_HEALING, CareReview, care_standing

TODAY = date(2026, 6, 1)
KINDS = [*sorted(NOT_HEALING), "too_early", "on_course", "to_confirm", "healed", "not_measured"]
spans = st.integers(0, 200)


def ago(days):
    return TODAY - timedelta(days=days)


@st.composite
def cases(draw):
    kind = draw(st.sampled_from(KINDS))
    since = ago(draw(spans)) if kind in NOT_HEALING else None
    outcome = draw(st.sampled_from(["", "changed", "failed", "other"]))
    opened = draw(spans)
    review = CareReview(
        ago(opened), outcome, ago(draw(st.integers(0, opened))) if outcome else None, draw(st.integers(0, 3))
    )
    return kind, since, ago(draw(spans)), draw(st.none() | st.just(review))


EDGES = (0, 27, 28, 29, 100)
OUTCOMES = ("", "changed", "failed", "other")


@pytest.mark.parametrize("kind", KINDS)
def test_it_has_failed_exactly_where_everything_for_it_holds(kind):
    """Every combination around each limit; two things alone must tip it."""
    failed_somewhere = False
    for bad, first, opened, outcome, left in product(EDGES, EDGES, EDGES, OUTCOMES, (0, 1)):
        since = ago(bad) if kind in NOT_HEALING else None
        review = CareReview(ago(opened), outcome, TODAY if outcome else None, left)
        made = care_standing(kind, kind, since, ago(first), review, TODAY)
        expected = (
            kind in NOT_HEALING and first >= CARE_DAYS and opened <= bad and outcome == "failed" and left == 0
        )
        assert (made.failed is True) == expected, (bad, first, opened, outcome, left)
        failed_somewhere = failed_somewhere or expected
    assert failed_somewhere == (kind in NOT_HEALING)


@given(cases())
def test_an_ulcer_that_does_not_heal_is_never_read_as_care_that_works_without_a_review(case):
    kind, since, first_seen, _ = case
    standing = care_standing(kind, kind, since, first_seen, None, TODAY)
    if kind in NOT_HEALING and (TODAY - first_seen).days >= CARE_DAYS:
        assert standing.failed is None
        assert "no non-healing review" in standing.because


@given(cases())
def test_it_always_says_why(case):
    kind, since, first_seen, review = case
    standing = care_standing(kind, kind, since, first_seen, review, TODAY)
    assert standing.because
    assert "design choice" in standing.source


@pytest.mark.parametrize(("days", "words"), [(63, "stalled, 9 weeks"), (13, "stalled, 13 days")])
def test_it_tells_for_how_long(days, words):
    because = care_standing("stalled", "stalled", ago(days), ago(100), None, TODAY).because
    assert because.startswith(words)
