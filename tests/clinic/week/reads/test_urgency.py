"""What is urgent stands in one order on Today and on Review."""

import re
from datetime import timedelta
from itertools import permutations
from pathlib import Path

import pytest
from django.conf import settings
from django.utils import timezone

from clinic.record.messages import MESSAGES
from clinic.week.reads.by_person import people_of_today
from clinic.week.reads.review import review_list
from clinic.week.reads.today import today_lists
from clinic.week.reads.urgency import CALM, URGENT, urgency
from tests import factories

pytestmark = pytest.mark.django_db


def days(n):
    return timezone.localdate() + timedelta(days=n)


def flag(who, lesion, ago, kind="fever_or_unwell"):
    factories.red_flag(of=who, flags=[kind], raised_at=timezone.now() - timedelta(days=ago))


def sealed(who, lesion, ago):
    factories.prescription(
        of=lesion.limb,
        lesions=[lesion],
        device_class="total_contact_cast",
        prescribed_on=days(-9 - ago),
        fitted_on=days(-9 - ago),
        sealed_on=days(-9 - ago),
        open_by=days(-ago),
    )


def both(who, lesion, ago):
    sealed(who, lesion, 9)
    flag(who, lesion, ago)


#: In the order in which they have to stand, whatever the order of names, visits and chances of closing.
FAMILY = {
    "a device long past its day and an old flag": (both, 3),
    "a flag of two days": (flag, 2),
    "a flag of now": (flag, 0),
    "a device five days past its day": (sealed, 5),
    "a device one day past its day": (sealed, 1),
}


def case(site, name, make, ago, *, visit):
    who = factories.person(at=site, family_name=name)
    lesion = factories.lesion(on=factories.limb(of=who))
    factories.measurement(at=factories.visit(of=who, on=days(-7), next_on=visit), of=lesion)
    make(who, lesion, ago)
    return who


def orders():
    """Every third of the ways to give the family its names, the first and the last among them."""
    ways = list(permutations("ABCDE"))
    return [*ways[::3], ways[-1]]


@pytest.mark.parametrize("names", [orders()[0], orders()[17], orders()[-1]], ids="".join)
def test_both_pages_show_the_urgent_in_the_order_of_the_family(site, names):
    people = [
        case(site, name, make, ago, visit=days(ord(name) - ord("C")))
        for name, (make, ago) in zip(names, FAMILY.values(), strict=True)
    ]
    today = people_of_today(today_lists(site, days(0)))["urgent"]
    assert [one.person for one in today] == people
    (group,) = [one for one in review_list(site, days(0)).groups if one.concern == "stop"]
    assert [row.lesion.limb.person for row in group.rows] == people
    # Inside a row too: the flag first.
    assert "Red flag" in today[0].items[0].words
    assert "red flag" in group.rows[0].reasons[0]


def test_what_must_be_answered_at_once_stands_before_what_has_a_day(site):
    """A flag that leaves a working day is past its limit later than one of the same hour that leaves none."""
    later = case(site, "A", lambda who, x, ago: flag(who, x, ago, "suspected_charcot"), 0, visit=days(1))
    sooner = case(site, "B", flag, 0, visit=days(1))
    today = [one.person for one in people_of_today(today_lists(site, days(0)))["urgent"]]
    review = [row.lesion.limb.person for row in review_list(site, days(0)).groups[0].rows]
    assert today == review == [sooner, later]


def test_every_message_that_makes_a_row_urgent_has_its_place():
    source = "".join(
        path.read_text()
        for path in (Path(settings.BASE_DIR) / "clinic" / "week" / "reads").glob("morning*.py")
    )
    # Every message the lists of this morning name, in whatever call.
    named = {name for name in re.findall(r'"(\w+)"', source) if name in MESSAGES}
    assert {name for name in named if MESSAGES[name].level == "stop"} == set(URGENT)
    assert all(urgency(name, None) < CALM for name in URGENT)


def test_a_kind_without_a_place_is_a_fault():
    with pytest.raises(ValueError, match="not in tuple"):
        urgency("not_a_message", None)
