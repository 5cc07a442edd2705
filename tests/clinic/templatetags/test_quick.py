from datetime import date

import pytest
from django.template import Context, Template
from django.test import override_settings
from django.urls import NoReverseMatch, reverse
from django.utils.formats import date_format


def shown(text, **values):
    return Template(text).render(Context(values))


@pytest.mark.parametrize(
    ("name", "args"), [("person", (7,)), ("plan", ("A1-b",)), ("history", ("lesion", 3))]
)
def test_an_address_is_the_framework_s_own_each_time_it_is_asked(name, args):
    values = {f"v{n}": arg for n, arg in enumerate(args)}
    text = f"{{% url '{name}' {' '.join(values)} %}}"
    assert shown(text, **values) == shown(text, **values) == reverse(name, args=args)


def test_an_address_kept_in_a_name_or_asked_by_keyword_is_the_framework_s():
    assert shown("{% url 'person' 7 as there %}{{ there }}") == reverse("person", args=[7])
    assert shown("{% url 'person' person=7 %}") == reverse("person", args=[7])


def test_an_address_of_no_page_is_an_error():
    with pytest.raises(NoReverseMatch):
        shown("{% url 'no_such_page' %}")


def test_other_routes_have_other_addresses():
    before = shown("{% url 'today' %}")
    with override_settings(ROOT_URLCONF="tests.bench.pages"), pytest.raises(NoReverseMatch):
        shown("{% url 'today' %}")
    assert shown("{% url 'today' %}") == before


def test_a_day_reads_as_without_the_filter():
    day = date(2026, 2, 3)
    assert shown("{{ day|day }}", day=day) == shown("{{ day }}", day=day) == date_format(day, "DATE_FORMAT")
    assert shown("{{ day|day }}", day=None) == ""


@pytest.mark.parametrize("area", [0.0, 0.125, 1.005, 12.345, 600.0])
def test_an_area_reads_as_with_two_decimals(area):
    assert shown("{{ area|hundredths }}", area=area) == shown("{{ area|floatformat:2 }}", area=area)


def test_the_words_of_a_state_are_escaped_and_its_shape_is_named():
    told = shown('{% state "flag" words %}', words="<b>one & two</b>")
    assert told.startswith('<span class="state flag"><svg aria-hidden="true"><use href="')
    assert '#flag"></use></svg>&lt;b&gt;one &amp; two&lt;/b&gt;</span>' in told
    assert told.strip() == shown('{% include "components/state.html" with kind="flag" words=words only %}',
                                 words="<b>one & two</b>").strip()  # fmt: skip
