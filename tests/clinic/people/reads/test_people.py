"""The list, its search and filters, the header, likely duplicates."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.models import Person
from clinic.people.reads.people import likely_duplicates, people_found, person_bar
from clinic.people.reads.people_list import A_PAGE, people_page
from clinic.record.dates import day_words
from tests import factories


def days_ago(n):
    return timezone.localdate() - timedelta(days=n)


def page(site, *, q="", show="all", **place):
    return people_page(people_found(site, q=q, show=show), site, timezone.localdate(), **place)


def keys(found):
    return [row.key for row in found.rows]


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
        of=person, on=days_ago(5), next_on=days_ago(-2), state="in_error", error_reason="other patient"
    )
    factories.weight(of=person, on=days_ago(35))
    (row,) = page(site).rows
    assert row.lesions == ["A, under the second metatarsal head, left foot"]
    assert (row.next_on, row.next_words) == (day_words(days_ago(6)), "overdue")
    assert (row.weight_words, row.weight_stale) == ("5 weeks old", True)


def test_a_row_of_somebody_who_left_tells_how_and_asks_for_nothing(site, person):
    factories.lesion(on=factories.limb(of=person))
    factories.visit(of=person, on=days_ago(20), next_on=days_ago(13))
    person.state, person.state_on = "moved", days_ago(3)
    person.save()
    (row,) = page(site, show="left").rows
    assert row.left == f"Moved away, {day_words(days_ago(3))}"
    assert (row.lesions, row.next_on, row.next_words) == ([], day_words(days_ago(13)), "")


def test_both_feet_of_a_person_stand_in_one_row_and_a_closed_lesion_says_so(site, person):
    factories.lesion(
        on=factories.limb(of=person, side="right"), label="C", state="to_confirm", closed_on=days_ago(2)
    )
    left = factories.limb(of=person)
    for label in ("B", "A"):
        factories.lesion(on=left, label=label)
    (row,) = page(site).rows
    assert [words.partition(",")[0] for words in row.lesions] == ["A", "B", "C"]
    assert row.lesions[2].endswith("right foot (closed, to confirm)")
    assert (row.next_on, row.next_words, row.weight_words) == ("", "no next date", "not recorded")


def test_the_queries_of_the_list_do_not_grow_with_its_rows(site, django_assert_num_queries):
    for count in (3, 12):
        for _ in range(count):
            factories.lesion(on=factories.limb(of=factories.person(at=site)))
        with django_assert_num_queries(2):
            found = page(site)
        assert all(row.lesions for row in found.rows)


def _named_alike(site):
    """Two pages and some more, most of them with the same names, out of the order of their numbers."""
    names = [("Abelova", "Una"), *[("Sameova", "Ina")] * (2 * A_PAGE), ("Sameova", "Ana"), ("Zedova", "Ona")]
    made = [factories.person(at=site, family_name=family, given_name=given) for family, given in names]
    return [str(one.pk) for one in sorted(made, key=lambda one: (one.family_name, one.given_name, one.pk))]


def test_pages_forward_and_back_show_everybody_once_also_under_equal_names(site, django_assert_num_queries):
    everybody = _named_alike(site)
    there, found = [], page(site)
    assert not found.before
    while True:
        there.append(keys(found))
        assert found.count == len(everybody)
        if not found.after:
            break
        with django_assert_num_queries(4):
            found = page(site, after=found.after)
    assert [key for one in there for key in one] == everybody
    assert [len(one) for one in there] == [A_PAGE, A_PAGE, 3]
    assert keys(page(site, before=found.before)) == there[1]
    first = page(site, before=page(site, before=found.before).before)
    assert (keys(first), first.before) == (there[0], "")


def test_a_page_goes_on_behind_the_same_person_whatever_came_or_went_before(site):
    everybody = _named_alike(site)
    first = page(site)
    factories.person(at=site, family_name="Aabova")
    assert keys(page(site, after=first.after)) == everybody[A_PAGE : 2 * A_PAGE]
    # Whoever the page ended with has left: it still goes on behind the name.
    Person.objects.filter(pk=first.after).update(state="moved", state_on=days_ago(1))
    assert keys(page(site, after=first.after)) == everybody[A_PAGE : 2 * A_PAGE]
    # Before a whole first page there is less than a page: the first one is shown whole.
    back = page(site, before=everybody[3])
    assert (len(back.rows), back.before) == (A_PAGE, "")


def test_a_place_that_is_nobodys_here_shows_the_first_page(site, other_site):
    everybody = _named_alike(site)
    stranger = factories.person(at=other_site, family_name="Middleova")
    for named in (str(stranger.pk), "999999", "x", "9" * 30, "²"):
        assert keys(page(site, after=named)) == keys(page(site, before=named)) == everybody[:A_PAGE]
    assert keys(page(site, after=everybody[-1])) == everybody[:A_PAGE]


def test_a_search_is_paged_like_the_list(site):
    _named_alike(site)
    first = page(site, q="samE in")
    second = page(site, q="samE in", after=first.after)
    assert (first.count, len(second.rows), second.after) == (2 * A_PAGE, A_PAGE, "")
    assert not set(keys(first)) & set(keys(second))


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
        (
            {
                "monofilament_tested": 10,
                "monofilament_felt": 10,
                "dorsalis_pedis": "present",
                "posterior_tibial": "present",
                "previous_ulcer": False,
            },
            "category 0, very low",
        ),
        (
            {
                "monofilament_tested": 10,
                "monofilament_felt": 8,
                "dorsalis_pedis": "present",
                "posterior_tibial": "present",
                "deformity": "none",
                "previous_ulcer": False,
            },
            "category 1, low",
        ),
        (
            {
                "monofilament_tested": 10,
                "monofilament_felt": 10,
                "dorsalis_pedis": "absent",
                "deformity": "large",
                "previous_ulcer": False,
            },
            "category 2, moderate",
        ),
        ({"previous_ulcer": True}, "category 3, high"),
    ],
)
def test_the_header_tells_the_risk_category_of_the_worse_foot(person, findings, words):
    person.dialysis = False
    person.save()
    well = {
        "monofilament_tested": 10,
        "monofilament_felt": 10,
        "dorsalis_pedis": "present",
        "posterior_tibial": "present",
        "deformity": "none",
        "previous_ulcer": False,
    }
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
