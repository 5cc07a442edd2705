"""Loading and checking the rule table; a table with a fault is refused, and the fault named."""

import copy
import datetime
import tomllib
from pathlib import Path

import pytest

from clinic.guidelines import edition
from clinic.guidelines.edition import current, load, table_from
from clinic.guidelines.errors import TableError
from clinic.guidelines.rows import PRACTICE

RULES = Path(edition.__file__).with_name("rules.toml")
RAW = tomllib.loads(RULES.read_text(encoding="utf-8"))


@pytest.fixture
def raw():
    return copy.deepcopy(RAW)


def row(raw, name):
    return next(r for r in raw["row"] if r["id"] == name)


def test_the_table_in_force_is_sound_and_dated():
    table = current()
    assert table.edition.startswith("IWGDF offloading 2023")
    assert table.transcribed <= datetime.date(2026, 12, 31)
    assert "e3647" in table.source


def test_every_row_and_recommendation_names_its_source():
    table = current()
    assert all(r.source for r in table.rows)
    assert all(r.source for r in table.recommendations.values())


def test_no_2023_label_is_claimed_to_be_verified():
    """None was read in print; a row may only change this with the paper in hand."""
    assert not any(r.label_verified for r in current().recommendations.values())


def test_all_published_topics_are_listed_and_the_unconfirmed_one_is_not_applied():
    table = current()
    assert set(table.recommendations) == {
        "FIRST_NR",
        "TCC_OR_NRW",
        "SECOND_RM",
        "NO_FOOTWEAR_ALONE",
        "FELTED_FOAM",
        "SURG_FOREFOOT",
        "SURG_HALLUX",
        "TENOTOMY",
        "IS_A",
        "IS_B",
        "IS_C",
        "HEEL",
        "NONPLANTAR",
        "SHOE_LIFT",
        "ACTIVITY",
    }
    assert table.recommendations["ACTIVITY"].content == "memory_low"
    assert {r.source for r in table.rows if r.topic == "ACTIVITY"} == {PRACTICE}


def test_the_stamp_of_an_answer_says_which_rows_are_an_older_text_from_memory():
    table = current()
    older = {t for t, r in table.recommendations.items() if r.content == "memory" and "2019" in r.source}
    assert older == {"IS_A", "IS_B", "IS_C", "HEEL"}
    assert table.edition.endswith("infection, ischaemia and heel rows: 2019 text, from memory")
    assert len(table.edition) <= 120  # the column of a prescription


@pytest.mark.parametrize(
    ("row_id", "source"),
    [
        ("ischaemia_moderate", "derived from NICE NG19"),
        ("ischaemic_cause_unmeasured", "derived from NICE NG19"),
        ("ischaemia_moderate_treat_first", "derived from Fitridge"),
        ("infection_mild", "derived from NICE NG19"),
        ("infection_mild_treat_first", "derived from NICE NG19"),
        ("nr_not_toe_tip", "derived from IWGDF Practical"),
        ("nr_declined", "derived from the IWGDF offloading"),
        ("not_tolerated_before", "derived from the IWGDF offloading"),
    ],
)
def test_what_a_source_does_not_spell_out_is_said_to_be_derived(row_id, source):
    assert next(r for r in current().rows if r.id == row_id).source.startswith(source)


def test_mild_infection_is_treated_at_this_visit_not_referred_away():
    because = next(r for r in current().rows if r.id == "infection_mild").because
    assert "sample and treat by local policy at this visit" in because


def test_a_row_lists_the_facts_behind_its_readings():
    rows = {r.id: r for r in current().rows}
    assert rows["first_nr"].reads == {
        "region",
        "surface",
        "cause",
        "infection_grade",
        "osteomyelitis",
        "ischaemia_grade",
    }


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda r: row(r, "first_nr").update(topic="FIRST"), "first_nr names topic FIRST"),
        (lambda r: row(r, "first_nr").update(topic="ACTIVITY"), "first_nr applies ACTIVITY"),
        (
            lambda r: row(r, "first_nr").update(classes=["cast"]),
            "first_nr names cast, which is no device class",
        ),
        (lambda r: row(r, "first_nr").update(classes=[]), "first_nr names no device class"),
        (lambda r: row(r, "first_nr").update(source="somewhere"), "first_nr has no known source"),
        (lambda r: row(r, "first_nr").update(because=" "), "first_nr gives no reason"),
        (lambda r: row(r, "first_nr").update(tier=5), "first_nr has tier 5, must be 1, 2, 3 or 4"),
        (lambda r: row(r, "first_nr").update(kind="maybe"), "first_nr is of kind maybe"),
        (lambda r: row(r, "first_nr").update(colour="red"), "first_nr has the unknown key colour"),
        (lambda r: row(r, "first_nr")["when"].update(weight=[80]), "condition names weight"),
        (lambda r: row(r, "first_nr")["when"].update(cause=["nerves"]), "condition cause names 'nerves'"),
        (lambda r: row(r, "first_nr")["when"].update(osteomyelitis=[0]), "condition osteomyelitis names 0"),
        (lambda r: row(r, "first_nr")["when"].update(cause=[]), "condition cause names no value"),
        (
            lambda r: row(r, "is_a")["when"].update(cell=["nr_first"]),
            "first_nr and is_a of line plantar can both hold",
        ),
        (lambda r: r["row"].append(row(r, "heel")), "row heel stands twice"),
        (lambda r: row(r, "treat_first").update(urgency="soon"), "treat_first has urgency soon"),
        (lambda r: row(r, "treat_first").update(refer="doctor"), "treat_first names doctor"),
        (lambda r: row(r, "treat_first").update(refer=[]), "treat_first names no referral"),
        (lambda r: r["matrix"].update({"2": ["rm", "rm", "rm"]}), "matrix cell 2 x 3"),
        (lambda r: r["matrix"].update({"2": ["rm", "rm", "rm", "often"]}), "matrix cell 2 x 3"),
        (lambda r: r["site"].pop(0), "site forefoot, plantar has no kind"),
        (
            lambda r: r["row"].remove(row(r, "dorsum")),
            "site dorsum with cause neuropathic in cell nr_first has no offer",
        ),
        (
            lambda r: r["recommendation"][0].update(source="hearsay"),
            "recommendation FIRST_NR has no known source",
        ),
        (
            lambda r: r["recommendation"][0].update(content="guess"),
            "recommendation FIRST_NR has content guess",
        ),
        (lambda r: r["edition"].pop("year"), "lacks or mistypes 'year'"),
        (lambda r: r.pop("matrix"), "lacks or mistypes 'matrix'"),
    ],
)
def test_a_spoilt_table_is_refused_by_name(raw, spoil, words):
    spoil(raw)
    with pytest.raises(TableError) as caught:
        table_from(raw)
    assert any(words in fault for fault in caught.value.faults), caught.value.faults


def test_a_file_that_is_no_toml_is_refused(tmp_path):
    path = tmp_path / "rules.toml"
    path.write_text("[edition", encoding="utf-8")
    with pytest.raises(TableError, match="rules.toml cannot be read"):
        load(path)
    with pytest.raises(TableError, match="absent.toml cannot be read"):
        load(tmp_path / "absent.toml")
