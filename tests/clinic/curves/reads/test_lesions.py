"""Lesion rows for cards and lists."""

import pytest

from clinic.curves.reads.lesions import has_open_episode, healed_lesions, lesion_rows, lesions_of
from tests import factories


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def test_a_row_tells_the_last_area_with_its_method(lesion):
    factories.series(lesion, [3, 2.4])
    assert lesion_rows([lesion])[0].last_words == "2.40 cm², traced"


def test_a_row_tells_why_there_is_no_area(lesion):
    assert lesion_rows([lesion])[0].last_words == "not measured yet"
    visit = factories.visit(of=lesion.limb.person)
    factories.measurement(
        at=visit, of=lesion, method="not_measured", area_mm2=None, not_measured_because="sealed in"
    )
    assert lesion_rows([lesion])[0].last_words == "not measured: sealed in"


def test_a_visit_entered_in_error_is_not_the_last_look(lesion):
    first, second = factories.series(lesion, [3, 2.4])
    second.state, second.error_reason = "in_error", "other patient"
    second.save()
    assert lesion_rows([lesion])[0].last_words == "3.00 cm², traced"


def test_the_queries_do_not_grow_with_the_lesions(person, django_assert_num_queries):
    limb = factories.limb(of=person)
    factories.series(factories.lesion(on=limb), [3, 2])
    for _ in range(2):
        for _ in range(4):
            factories.lesion(on=limb)
        rows = list(lesions_of(person))
        with django_assert_num_queries(9):
            assert len(lesion_rows(rows)) == len(rows)


def test_healed_lesions_and_the_open_episode_are_found(person, lesion):
    assert has_open_episode(person)
    assert healed_lesions(person) == []
