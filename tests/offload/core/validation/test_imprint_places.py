"""Where a print lands, on rendered photographs of insoles that are not of the drawn length.

Goal, a design choice: median 1 mm, 95th percentile 3 mm, along and across, or refused. The scenes hold no
lens, no curl of an insole and no hand worse than 3 mm. All 200 stand in tests/validation/RESULTS.md and meet
it; the few of this file are given half as much again.
"""

import numpy as np
import pytest

from tests.offload.core.imprint_errors import errors, words

PHOTOGRAPHS = 20
GOAL_MEDIAN, GOAL_95 = 1.0, 3.0  # [mm], of 200
OF_FEW = 1.5

pytestmark = pytest.mark.oracle  # about a minute of drawing


@pytest.fixture(scope="module")
def found():
    return errors(PHOTOGRAPHS)


def test_every_card_is_found_lying_and_upright(found):
    kept, refused = found
    assert "no card found" not in refused
    stands = kept["its own outline: edge traced"][:, 3]
    assert 0 < stands.sum() < len(stands)


@pytest.mark.parametrize("insole", ["drawn insole", "its own outline"])
@pytest.mark.parametrize("way", ["heel and toes marked", "edge traced"])
def test_a_print_that_is_kept_lies_where_it_was(found, insole, way):
    kept = found[0][f"{insole}: {way}"]
    print(f"\n{insole}, {way}: {len(kept)} of {PHOTOGRAPHS} kept, {words(kept)}")
    for error in kept[:, :2].T:
        assert np.median(error) <= GOAL_MEDIAN * OF_FEW
        assert np.percentile(error, 95) <= GOAL_95 * OF_FEW


def test_a_print_laid_by_the_two_holes_lies_where_it_was(found):
    kept = found[0]["two printed holes"]
    assert len(kept) > PHOTOGRAPHS / 2
    assert (np.median(kept[:, :2], axis=0) <= GOAL_MEDIAN * OF_FEW).all()
    assert (np.percentile(kept[:, :2], 95, axis=0) <= GOAL_95 * OF_FEW).all()


def test_another_length_is_refused_on_the_drawn_insole_and_kept_on_its_own_outline(found):
    kept, refused = found
    for way in ("heel and toes marked", "edge traced"):
        ratios = kept[f"drawn insole: {way}"][:, 2]
        assert (np.abs(ratios - 1.0) < 0.04).all(), "a longer insole lies on the drawn one"
        assert refused[f"drawn insole: {way}"]
        assert all("own outline" in words for _, words in refused[f"drawn insole: {way}"])
        assert len(kept[f"its own outline: {way}"]) >= 0.9 * PHOTOGRAPHS
