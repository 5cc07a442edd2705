import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from clinic.visits.forms.measurement import OutlineField

number = st.floats(min_value=-300, max_value=300, allow_nan=False)
points = st.lists(st.tuples(number, number), min_size=1, max_size=12)


@given(points)
def test_an_outline_shown_and_sent_back_is_the_same_outline(outline):
    field = OutlineField()
    assert field.clean(field.prepare_value(outline)) == tuple(outline)


@given(points)
def test_lines_semicolons_and_lists_are_one_outline(outline):
    lines = OutlineField().clean("\n".join(f"{x!r} {y!r}" for x, y in outline))
    assert lines == OutlineField().clean("; ".join(f"{x!r},{y!r}" for x, y in outline))
    assert lines == OutlineField().clean(str([list(point) for point in outline]))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1", "point 1 is “1”"),
        ("1,2\n3,4,5", "point 2 is “3,4,5”"),
        ("1,2\nwide, 3", "point 2 is “wide, 3”"),
        ("[1, 2]", "not a list of points"),
        ('[["a", 1]]', "not a list of points"),
        ("\n".join("1,1" for _ in range(6001)), "6001 points given; at most 6000"),
    ],
)
def test_what_is_not_an_outline_is_named(text, words):
    with pytest.raises(ValidationError, match="Outline: ") as fault:
        OutlineField().clean(text)
    assert words in fault.value.messages[0]
