"""What stays open when findings are missing."""

from clinic.guidelines.unknowns import outcomes

YES_NO = (False, True)


def test_known_findings_leave_one_outcome_and_nothing_missing():
    left, missing = outcomes(lambda a, b: a and b, {"a": True, "b": False}, {"a": YES_NO, "b": YES_NO})
    assert (left, missing) == (frozenset({False}), ())


def test_a_missing_finding_that_cannot_matter_is_not_asked_for():
    left, missing = outcomes(lambda a, b: a and b, {"a": False, "b": None}, {"a": YES_NO, "b": YES_NO})
    assert (left, missing) == (frozenset({False}), ())


def test_of_two_missing_findings_only_the_one_that_matters_is_named():
    left, missing = outcomes(lambda a, b: a, {"a": None, "b": None}, {"a": YES_NO, "b": YES_NO})
    assert (left, missing) == (frozenset(YES_NO), ("a",))
