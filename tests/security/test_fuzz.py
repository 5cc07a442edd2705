"""A seeded part of `python -m tests.security.fuzz` in every run of the tests."""

import pytest

from tests.security.fuzz import MARK, Found, _judge, run


def test_hostile_values_meet_no_fault_no_wait_and_no_echo(db):
    found = run(400, seed=7)
    assert found.sent == 400
    assert len(found.routes) > 50
    assert not found.faults, "\n".join(found.faults[:20])


@pytest.mark.parametrize(
    ("body", "status", "seconds", "told"),
    [
        (MARK, 200, 0.1, "reflected markup"),
        ("fine", 500, 0.1, "500"),
        ("fine", 200, 9.0, "slow"),
    ],
)
def test_the_judge_of_the_fuzz_can_find_each_fault(body, status, seconds, told):
    from django.http import HttpResponse

    found = Found()
    _judge(found, HttpResponse(body, status=status), "get x", seconds)
    assert any(told in fault for fault in found.faults)
