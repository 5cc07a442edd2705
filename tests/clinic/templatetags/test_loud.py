from datetime import UTC, date, datetime

from django.template import Context, Template
from django.utils.formats import date_format


def shown(text, **values):
    return Template(text).render(Context(values))


def test_a_day_reads_as_without_the_filter():
    day = date(2026, 2, 3)
    assert shown("{{ day|day }}", day=day) == shown("{{ day }}", day=day) == date_format(day, "DATE_FORMAT")
    assert shown("{{ day|day }}", day=None) == ""


def test_the_words_of_a_state_are_escaped_and_its_shape_is_named():
    told = shown('{% state "flag" words %}', words="<b>one & two</b>")
    assert told.startswith('<span class="state flag"><svg aria-hidden="true"><use href="')
    assert '#flag"></use></svg>&lt;b&gt;one &amp; two&lt;/b&gt;</span>' in told


def test_a_panel_shows_days_and_moments_as_the_page_does():
    moment = datetime(2026, 7, 3, 10, 5, 9, 123456, tzinfo=UTC)
    told = shown('{% panel "flag_unanswered" since=at %}{% endpanel %}', at=moment)
    assert shown("{{ at }}", at=moment) == "3 Jul 2026, 11:05"
    assert "since 3 Jul 2026, 11:05:" in told
    told = shown('{% panel "map_withdrawn" on=day %}{% endpanel %}', day=date(2026, 2, 3))
    assert "Withdrawn on 3 Feb 2026." in told


def test_a_fall_has_its_sign_in_the_word_and_none_is_no_difference():
    told = [shown('{{ fall|lower_by:"kPa" }}', fall=fall) for fall in (181.2, -13.4, 0.4, -0.4, None)]
    assert told == ["181 kPa lower", "13 kPa higher", "no difference", "no difference", "–"]
