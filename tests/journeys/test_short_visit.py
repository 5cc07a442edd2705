"""The weekly page with everything answered, under a finger and from the keyboard: taps, scrolls, length."""

from datetime import timedelta

import pytest
from django.db.models import Count
from django.utils import timezone

from clinic.models import Lesion, Person, Visit, WatchPoint
from tests import factories
from tests.clinic.fields.scenes import worn
from tests.journeys.touch import tap

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

#: What the tablet shows at once under the person's name. [px]
PAGE_MOVE = 1180 - 160
#: The most that two ulcers with everything answered may cost.
MOST = {"taps": 20, "scrolls": 3, "px": 2600}
ULCER = ("debridement][value=before", "depth][value=skin", "exudate][value=light", "probe_to_bone][value=no")
#: Answered from the keyboard with the named keys; every other stop of the list takes the space bar.
KEYS = {
    "length_mm": ["2", "0"],
    "width_mm": ["1", "2"],
    "depth_mm": ["1"],
    "undermining_mm": ["0"],
    "probe_to_bone": ["ArrowRight"],
    "exudate": ["ArrowRight"],
}
TOUCHED = (
    "red_flags",
    "debridement",
    "depth",
    "nothing_found",
    "unchanged",
    "asked_none",
    "looked_clear",
    "wear",
    "next_in",
)


@pytest.fixture
def wearer(lesion):
    """Two ulcers described last week, and a walker that was fitted."""
    other = factories.lesion(on=factories.limb(of=lesion.limb.person, side="right"))
    last = Visit.objects.latest("visited_on")
    factories.measurement(at=last, of=other, cm2=1.5)
    for row in last.measurements.all():
        row.tissue, row.edge, row.dressing = "granulating", "sloping", "foam"
        row.save()
    worn(lesion)
    return lesion.limb.person


def shown(tablet, person, username="nurse"):
    tablet.sign_in(person.site.members.get(username=username))
    tablet.open(f"/people/{person.pk}/visits/new/")
    tablet.taps, tablet.scrolls, tablet.longest = 0, 0, 0
    tablet.page.evaluate("scrollTo(0, 0)")
    return tablet


def touch(tablet, what):
    """One tap, after as many moves of the page as bring the control into view."""
    place = tablet.page.locator(what).first
    box = place.bounding_box()
    while box["y"] + box["height"] > 1180 - 10:
        tablet.page.evaluate("by => scrollBy(0, by)", PAGE_MOVE)
        tablet.scrolls += 1
        box = place.bounding_box()
    tablet.longest = max(tablet.longest, tablet.page.evaluate("document.documentElement.scrollHeight"))
    tap(tablet, what)


def measured(tablet, head, length="20", width="12"):
    """Four numbers after one tap: the keyboard's own next key goes on."""
    touch(tablet, f"[name={head}-length_mm]")
    for number in (length, width, "1", "0"):
        tablet.page.keyboard.type(number)
        tablet.page.keyboard.press("Enter")


def told(tablet, *names):
    for name in names:
        touch(tablet, f"[name={name}]")


def saved(tablet):
    touch(tablet, "button.main:text('Save visit')")
    tablet.page.wait_for_url(lambda url: "/visits/new/" not in url)
    return Visit.objects.latest("pk")


def test_two_ulcers_with_everything_answered(tablet, wearer):
    shown(tablet, wearer)
    told(tablet, "red_flags][value=none")
    for lesion in Lesion.objects.order_by("pk"):
        head = f"lesion-{lesion.pk}"
        measured(tablet, head)
        told(tablet, *(f"{head}-{name}" for name in (*ULCER, "nothing_found", "unchanged")))
    told(tablet, "asked_none", "looked_clear", "wear][value=all", "next_in][value='7'")
    visit = saved(tablet)
    assert_answered(visit)
    assert_short(tablet)


def assert_short(tablet):
    found = {"taps": tablet.taps, "scrolls": tablet.scrolls, "px": tablet.longest}
    assert all(found[name] <= most for name, most in MOST.items()), found


def test_everybody_of_the_invented_clinic_with_two_ulcers(tablet, invented_clinic):
    several = Person.objects.filter(state="in_care", limbs__lesions__state="open")
    several = list(several.annotate(ulcers=Count("limbs__lesions")).filter(ulcers__gte=2).order_by("pk"))
    assert len(several) >= 2
    watched = 0
    for person in several:
        shown(tablet, person, "nora")
        told(tablet, "red_flags][value=none")
        lesions = list(Lesion.objects.filter(limb__person=person, state="open").order_by("limb", "label"))
        for lesion in lesions:
            last = lesion.measurements.order_by("-visit__visited_on").first()
            head = f"lesion-{lesion.pk}"
            measured(tablet, head, str(last.length_mm), str(last.width_mm))
            told(tablet, *(f"{head}-{name}" for name in (*ULCER, "nothing_found", "unchanged")))
        told(tablet, "asked_none", "looked_clear", "wear][value=all", "next_in][value='7'")
        visit = saved(tablet)
        assert (visit.fall, visit.pain, visit.other_foot) == (False, "none", "clear")
        assert (visit.skin_under_device, visit.device_condition) == ("clear", "sound")
        assert visit.measurements.exclude(surrounding_skin="").exclude(dressing="").count() == len(lesions)
        points = WatchPoint.objects.filter(limb_plan__limb__person=person, limb_plan__ended_on=None)
        assert set(visit.watch_findings.values_list("point", "found")) == {
            (one.pk, "clear") for one in points
        }
        watched += len(points)
        assert_short(tablet)
    assert watched, "nobody with two ulcers has a watch point"


def assert_answered(visit):
    """Nothing of the page was left out."""
    assert (visit.fall, visit.pain, visit.other_foot) == (False, "none", "clear")
    assert (visit.skin_under_device, visit.device_condition) == ("clear", "sound")
    assert visit.wear
    assert visit.next_on
    rows = list(visit.measurements.all())
    assert len(rows) == 2
    for row in rows:
        assert (row.length_mm, row.width_mm, row.depth_mm, row.undermining_mm) == (20, 12, 1, 0)
        assert (row.depth, row.surrounding_skin, row.odour, row.infection_looked) == (
            "skin",
            "healthy",
            False,
            True,
        )
        assert (row.deep_infection, row.unwell, row.probe_to_bone, row.cavity) == (False, False, False, False)
        assert row.exudate
        assert (row.tissue, row.edge, row.dressing) == ("granulating", "sloping", "foam")
        assert row.unchanged_since


def test_a_covered_ulcer(tablet, lesion):
    worn(lesion)
    shown(tablet, lesion.limb.person)
    told(tablet, "red_flags][value=none", f"lesion-{lesion.pk}-covered_dry")
    for part in (".bed", ".singles", ".described"):
        assert not tablet.page.locator(part).is_visible(), "a covered ulcer is asked nothing about its bed"
    told(tablet, "asked_none", "looked_clear", "wear][value=all", "next_in][value='14'")
    assert saved(tablet).measurements.get().covered_dry
    assert tablet.taps <= 10


def test_in_remission(tablet, lesion):
    Lesion.objects.update(
        state="healed",
        closed_on=timezone.localdate() - timedelta(days=40),
        confirmed_on=timezone.localdate() - timedelta(days=20),
        outcome="healed",
    )
    shown(tablet, lesion.limb.person)
    told(tablet, "red_flags][value=none", "asked_none", "other_foot][value=clear", "next_in][value=m1")
    assert saved(tablet).next_on
    assert tablet.taps <= 6


def test_the_keyboard_reaches_save_in_thirty_stops(visitor, wearer):
    visitor.resize("desktop")
    visitor.sign_in(wearer.site.members.get(username="nurse"))
    visitor.open(f"/people/{wearer.pk}/visits/new/")
    page = visitor.page
    page.focus("#main")
    stops = []
    for _ in range(80):
        page.keyboard.press("Tab")
        name, kind, words = page.evaluate(
            """() => {
              const one = document.activeElement;
              const name = (one.name ?? "").replace(/^lesion-\\d+-/, "");
              return [name, one.type ?? one.tagName, one.textContent.trim()];
            }"""
        )
        stops.append(name or words)
        if words == "Save visit":
            break
        for key in KEYS.get(name, ["Space"] if name in TOUCHED else []):
            page.keyboard.press(key)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "/visits/new/" not in url)
    assert_answered(Visit.objects.latest("pk"))
    assert len(stops) <= 30, stops
