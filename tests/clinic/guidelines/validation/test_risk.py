"""IWGDF risk categories 2023, as reproduced in World J Diabetes 2022;13:27, table 1; intervals in months."""

import pytest

from clinic.guidelines.grading import risk_category

NONE = {
    "sensation_lost": False,
    "artery_disease": False,
    "deformity": False,
    "past_ulcer": False,
    "amputation": False,
    "end_stage_renal_disease": False,
}


@pytest.mark.parametrize(
    ("present", "category", "interval"),
    [
        ((), 0, (12, 12)),
        (("deformity",), 0, (12, 12)),
        (("end_stage_renal_disease",), 0, (12, 12)),
        (("sensation_lost",), 1, (6, 12)),
        (("artery_disease",), 1, (6, 12)),
        (("sensation_lost", "artery_disease"), 2, (3, 6)),
        (("sensation_lost", "deformity"), 2, (3, 6)),
        (("artery_disease", "deformity"), 2, (3, 6)),
        (("sensation_lost", "past_ulcer"), 3, (1, 3)),
        (("artery_disease", "amputation"), 3, (1, 3)),
        (("sensation_lost", "end_stage_renal_disease"), 3, (1, 3)),
        (("past_ulcer",), 3, (1, 3)),
    ],
)
def test_each_category_with_its_interval(present, category, interval):
    risk = risk_category(**{**NONE, **dict.fromkeys(present, True)})
    assert (risk.category, risk.interval_months) == (category, interval)
