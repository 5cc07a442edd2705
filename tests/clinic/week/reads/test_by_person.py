"""Today by person: everybody once, with everything that is open, in the loudest group."""

from datetime import time, timedelta

import pytest
from django.utils import timezone

from clinic.week.reads.by_person import people_of_today
from clinic.week.reads.today import today_lists
from tests import factories

pytestmark = pytest.mark.django_db


def days(n):
    return timezone.localdate() + timedelta(days=n)


def case(site, *, next_on, **agreed):
    who = factories.person(at=site)
    lesion = factories.lesion(on=factories.limb(of=who))
    factories.measurement(at=factories.visit(of=who, on=days(-7), next_on=next_on, **agreed), of=lesion)
    return who


def groups(site):
    lists = today_lists(site, days(0))
    found = people_of_today(lists)
    rows = (*lists.morning.rows, *lists.overdue, *lists.due, *lists.coming, *lists.remission)
    people = [one for part in found.values() for one in part]
    # The property: nobody twice, nobody and nothing left out.
    assert len({one.person.pk for one in people}) == len(people)
    assert {one.person.pk for one in people} == {row.person.pk for row in rows}
    said = {(one.person.pk, item.words) for one in people for item in one.items}
    assert said == {(row.person.pk, row.words) for row in rows}
    asked = {(one.person.pk, ask) for one in people for item in one.items for ask in item.asks}
    asked |= {(one.person.pk, one.visit) for one in people if one.visit}
    assert asked == {(row.person.pk, ask) for row in rows for ask in row.asks}
    return {name: [one.person for one in part] for name, part in found.items() if part}


def test_everybody_stands_once_in_the_loudest_group(site):
    flagged = case(site, next_on=days(0))
    factories.red_flag(of=flagged)
    due, late, coming = (case(site, next_on=days(n)) for n in (0, -2, 3))
    undated = case(site, next_on=None)
    assert groups(site) == {
        "urgent": [flagged],
        "due": [due],
        "overdue": [late],
        "open": [undated],
        "coming": [coming],
    }


def test_the_time_agreed_orders_the_day_and_transport_stands_beside_it(site):
    later = case(site, next_on=days(0), next_at=time(11), transport="ambulance car")
    sooner = case(site, next_on=days(0), next_at=time(9))
    untimed = case(site, next_on=days(0))
    rows = people_of_today(today_lists(site, days(0)))["due"]
    assert [(one.person, one.at, one.transport) for one in rows] == [
        (sooner, time(9), ""),
        (later, time(11), "ambulance car"),
        (untimed, None, ""),
    ]


def test_a_device_opened_and_left_open_stands_until_it_is_sealed_or_stopped(site):
    who = case(site, next_on=days(30))
    device = factories.prescription(
        of=who.limbs.get(),
        device_class="total_contact_cast",
        sealed_on=days(-5),
        open_by=days(2),
        opened_on=days(-1),
    )
    (row,) = people_of_today(today_lists(site, days(0)))["open"]
    assert "neither sealed again nor stopped" in row.items[0].words
    assert (row.items[0].asks[0].url_name, row.items[0].asks[0].pk) == ("prescription", device.pk)
    device.stopped_on, device.stop_reason = days(0), "healed"
    device.save()
    assert groups(site) == {}
