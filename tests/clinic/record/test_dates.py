"""A day reads the same from code, from a template and from the pure core."""

from datetime import date

import pytest
from django.template import Context, Template

from clinic.record.dates import day_words


@pytest.mark.parametrize("month", range(1, 13))
def test_code_and_templates_say_a_day_alike(month):
    day = date(2026, month, 3)
    assert Template("{{ day }}").render(Context({"day": day})) == day_words(day)
