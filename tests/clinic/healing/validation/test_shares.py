"""Wilson's interval on the healed counts of a published trial of devices.

Counts: rebuilt from the percentages of Armstrong DG et al., Diabetes Care 2001;24:1019-1022 (89.5 % of 19
healed in a cast, 65.0 % of 20 in a removable walker). Ends: the formula of Wilson EB, J Am Stat Assoc
1927;22:209-212, at 95 %, worked to four places apart from this program.
"""

import pytest

from clinic.healing.proportion import wilson


@pytest.mark.parametrize(("count", "of", "low", "high"), [(17, 19, 0.6861, 0.9706), (13, 20, 0.4329, 0.8188)])
def test_wilson_interval_of_the_trial_counts(count, of, low, high):
    share = wilson(count, of)
    assert share.low == pytest.approx(low, abs=5e-5)
    assert share.high == pytest.approx(high, abs=5e-5)
