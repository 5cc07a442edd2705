"""The table of messages: whole, once each, and silent nowhere."""

import pytest

from clinic.guidelines.errors import GuidelineError
from clinic.record.message_rows import ROWS
from clinic.record.messages import LEVELS, MESSAGES, message_of, message_table


def test_every_message_stands_once_with_level_words_cause_and_source():
    assert len(MESSAGES) == len(ROWS) > 60
    assert {message.level for message in MESSAGES.values()} == set(LEVELS)


def test_a_message_is_filled_in_or_refused():
    told = message_of("open_sealed_today", side="left")
    assert (told.level, told.text) == ("ask", "open the non-removable left device today")
    with pytest.raises(GuidelineError, match="'shout' is not in the table"):
        message_of("shout")
    with pytest.raises(GuidelineError, match="value 'side' is needed"):
        message_of("open_sealed_today")


def test_braces_in_a_value_stay_as_they_are():
    assert message_of("refused", words="{__class__}").text == "{__class__}"


def test_what_halts_names_why_in_the_record_or_its_source():
    for message in MESSAGES.values():
        if message.level == "stop":
            assert message.source
            assert message.cause


def test_the_table_prints_one_line_a_message_the_loudest_first():
    lines = message_table().splitlines()
    assert len(lines) == len(MESSAGES)
    assert [line.split()[0] for line in lines] == sorted(
        (line.split()[0] for line in lines), key=LEVELS.index
    )
