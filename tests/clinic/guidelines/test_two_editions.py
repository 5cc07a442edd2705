"""Two editions answer side by side, each stamped with its own name, and neither changes the other."""

import pytest

from clinic.guidelines.devices import NON_REMOVABLE
from clinic.guidelines.edition import current, editions, load
from clinic.guidelines.errors import TableError
from clinic.guidelines.facts import parse
from clinic.guidelines.table import decide
from tests.clinic.guidelines.cases import CASES, PLAIN
from tests.clinic.guidelines.test_edition import RULES

NEW, OLD = editions().values()


def both(**changes):
    facts = parse({**PLAIN, **changes})
    return decide(facts, OLD), decide(facts, NEW)


def tiers(advice):
    return {offer.id: offer.tier for offer in advice.classes}


def test_the_edition_in_force_comes_first_and_is_the_default():
    assert list(editions()) == ["IWGDF offloading 2023", "IWGDF offloading 2019"]
    assert current() is NEW
    facts = parse(PLAIN)
    assert decide(facts) == decide(facts, NEW)
    assert decide(facts).edition != decide(facts, OLD).edition


def test_the_second_choice_was_one_tier_above_the_ankle_high_third():
    old, new = both()
    assert tiers(new)["ankle_high_removable"] == tiers(new)["walker_knee_high_removable"] == 2
    assert (tiers(old)["walker_knee_high_removable"], tiers(old)["ankle_high_removable"]) == (2, 3)


def test_felted_foam_was_the_fourth_choice_and_is_the_third():
    old, new = both(device_available=False)
    assert tiers(old)["felted_foam_with_footwear"] == 4
    assert tiers(new)["felted_foam_with_footwear"] == 3
    assert set(tiers(old)) == set(tiers(new)) == {"felted_foam_with_footwear", "rest_and_walking_aid"}


@pytest.mark.parametrize(("failed", "then"), [(False, False), (True, True)])
def test_tenotomy_waited_for_failed_care_and_no_longer_does(failed, then):
    old, new = both(
        region="lesser_toe", surface="apex", flexible_toe_deformity=True, non_surgical_care_failed=failed
    )
    assert any(r.id == "flexor_tenotomy" for r in old.refer) is then
    assert any(r.id == "flexor_tenotomy" for r in new.refer)


def test_the_lift_came_with_the_later_edition():
    old, new = both()
    assert "SHOE_LIFT" not in old.rules
    assert "SHOE_LIFT" in new.rules


def test_the_two_labels_read_in_print_belong_to_the_older_edition():
    verified = {topic for topic, r in OLD.recommendations.items() if r.label_verified}
    assert verified == {"FIRST_NR", "TCC_OR_NRW"}
    assert OLD.recommendations["FIRST_NR"].certainty == "high"
    assert NEW.recommendations["FIRST_NR"].certainty == "moderate"


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_both_agree_on_what_is_safe(case):
    facts = parse(case.facts)
    old, new = decide(facts, OLD), decide(facts, NEW)
    for stays_on in NON_REMOVABLE:
        assert (stays_on in tiers(old)) is (stays_on in tiers(new))
    assert {w.id: w.because for w in old.withheld} == {w.id: w.because for w in new.withheld}
    urgent = {(r.id, r.urgency) for r in new.refer if r.urgency != "planned"}
    assert {(r.id, r.urgency) for r in old.refer if r.urgency != "planned"} == urgent


def test_asking_one_edition_does_not_change_the_answer_of_the_other():
    facts = parse({**PLAIN, "infection_grade": 2})
    first = decide(facts, NEW)
    decide(facts, OLD)
    assert decide(facts, NEW) == first


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[edition]\nextends = "absent.toml"', "absent.toml cannot be read"),
        ('[edition]\nextends = "chain.toml"', "must be whole"),
        ('[edition]\nextends = "rules.toml"\ndrops = ["NO_SUCH"]', "drops NO_SUCH, which rules.toml lacks"),
        ('[edition]\nextends = "rules.toml"', "lacks or mistypes 'id'"),
    ],
)
def test_differences_that_do_not_fit_are_refused(tmp_path, text, words):
    (tmp_path / "rules.toml").write_bytes(RULES.read_bytes())
    (tmp_path / "chain.toml").write_text('[edition]\nextends = "rules.toml"', encoding="utf-8")
    path = tmp_path / "other.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(TableError, match=words):
        load(path)
