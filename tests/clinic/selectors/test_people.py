"""The list, its search and filters, the header, likely duplicates."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.selectors.people import likely_duplicates, people_found, person_bar, person_row
from tests import factories


def days_ago(n):
    return timezone.localdate() - timedelta(days=n)


def healed(person):
    return factories.lesion(
        on=factories.limb(of=person),
        state="healed",
        outcome="healed",
        closed_on=days_ago(40),
        confirmed_on=days_ago(20),
        first_seen_on=days_ago(100),
    )


@pytest.mark.parametrize("q", ["orla", "INVENT", "orla inv", "inventova orla", "K77"])
def test_every_word_may_be_in_the_name_or_the_number(site, q):
    wanted = factories.person(at=site, given_name="Orla", family_name="Inventova", record_number="K770")
    factories.person(at=site, given_name="Orla", family_name="Fictive") if " " in q else None
    factories.person(at=site, given_name="Bo", family_name="Madeup")
    assert list(people_found(site, q=q)) == [wanted]


def test_the_list_holds_its_own_site_only(site, other_site, person):
    factories.person(at=other_site)
    assert list(people_found(site)) == [person]


def test_filters_part_open_remission_and_those_who_left(site):
    plain, open_one, remission, both, moved = (factories.person(at=site) for _ in range(5))
    factories.lesion(on=factories.limb(of=open_one))
    healed(remission)
    healed(both)
    factories.lesion(on=factories.limb(of=both, side="right"))
    moved.state, moved.state_on = "moved", days_ago(3)
    moved.save()
    shown = {key: set(people_found(site, show=key)) for key in ("all", "open", "remission", "left")}
    assert shown == {
        "all": {plain, open_one, remission, both},
        "open": {open_one, both},
        "remission": {remission},
        "left": {moved},
    }


def test_a_row_tells_lesions_next_date_and_the_age_of_the_weight(site, person):
    factories.lesion(on=factories.limb(of=person))
    factories.visit(of=person, on=days_ago(20), next_on=days_ago(13))
    factories.visit(of=person, on=days_ago(13), next_on=days_ago(6))
    factories.visit(
        of=person, on=days_ago(5), next_on=days_ago(-2), state="in_error", error_reason="other person"
    )
    factories.weight(of=person, on=days_ago(35))
    row = person_row(people_found(site).get(), site, timezone.localdate())
    assert [str(lesion) for lesion in row.lesions] == [
        "Lesion A, under the second metatarsal head, left foot"
    ]
    assert (row.next_on, row.overdue) == (days_ago(6), True)
    assert (row.weight_words, row.weight_stale) == ("5 weeks old", True)


def test_the_queries_of_the_list_do_not_grow_with_its_rows(site, django_assert_num_queries):
    def rows():
        return [person_row(one, site, timezone.localdate()) for one in people_found(site)]

    for count in (3, 12):
        for _ in range(count):
            factories.lesion(on=factories.limb(of=factories.person(at=site)))
        with django_assert_num_queries(3):
            found = rows()
        assert all(str(row.lesions[0]) for row in found)


def test_a_likely_duplicate_shares_the_birth_date_and_a_name(podiatrist, site, other_site, person):
    same_day = {"birth_date": person.birth_date}
    factories.person(at=other_site, given_name=person.given_name, family_name=person.family_name)
    factories.person(at=site, given_name="Zoe", family_name="Elsewise")
    found = likely_duplicates(
        podiatrist, given_name="Someone", family_name=person.family_name.upper(), **same_day
    )
    assert found == [person]
    assert not likely_duplicates(podiatrist, given_name="Someone", family_name="Else", **same_day)


@pytest.mark.parametrize(
    ("findings", "words"),
    [
        ({}, "not known, findings missing"),
        ({"monofilament_tested": 10, "monofilament_felt": 10, "dorsalis_pedis": "present",
          "posterior_tibial": "present", "previous_ulcer": False}, "category 0, very low"),
        ({"monofilament_tested": 10, "monofilament_felt": 8, "dorsalis_pedis": "present",
          "posterior_tibial": "present", "deformity": "none", "previous_ulcer": False}, "category 1, low"),
        ({"monofilament_tested": 10, "monofilament_felt": 10, "dorsalis_pedis": "absent",
          "deformity": "large", "previous_ulcer": False}, "category 2, moderate"),
        ({"previous_ulcer": True}, "category 3, high"),
    ],
)  # fmt: skip
def test_the_header_tells_the_risk_category_of_the_worse_foot(person, findings, words):
    person.dialysis = False
    person.save()
    well = {
        "monofilament_tested": 10, "monofilament_felt": 10, "dorsalis_pedis": "present",
        "posterior_tibial": "present", "deformity": "none", "previous_ulcer": False,
    }  # fmt: skip
    factories.finding(of=factories.limb(of=person, side="right"), **well)
    limb = factories.limb(of=person)
    if findings:
        factories.finding(of=limb, **findings)
    assert person_bar(person).risk_words == words


def test_an_open_ulcer_goes_before_any_category_and_a_healed_one_makes_it_high(person):
    lesion = factories.lesion(on=factories.limb(of=person))
    assert person_bar(person).risk_words == "open ulcer, left"
    lesion.state, lesion.outcome = "healed", "healed"
    lesion.closed_on, lesion.confirmed_on = days_ago(20), days_ago(3)
    lesion.save()
    assert person_bar(person).risk_words == "category 3, high"
