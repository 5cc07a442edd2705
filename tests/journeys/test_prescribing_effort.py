"""From the lesion page to a signed prescription: pages, clicks and keystrokes, against Django's own admin.

Both start on a page that is open already and on a record in which every finding stands. Nothing is counted
twice: a click is one press of the mouse or one choice in a list, a keystroke one character of text that has
to be typed.
"""

import json
from dataclasses import dataclass, field

import pytest
from django.utils import timezone

from clinic.models import Prescription
from tests import factories, factories_care, feet

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

REASON = "What the guidance puts first; she agrees."
FIRST = "walker_non_removable"


@dataclass
class Effort:
    """What one person has to do, counted at the page."""

    page: object
    clicks: int = 0
    keystrokes: int = 0
    pages: int = field(default=0)

    def __post_init__(self):
        # A page is a document that was read; a word kept in the history of the same one is none.
        self.page.on("domcontentloaded", self._moved)

    def _moved(self, _):
        self.pages += 1

    def click(self, place):
        place.click()
        self.clicks += 1

    def type(self, place, text):
        """A long text is put in at once and counted by its characters; a short one is typed key by key."""
        if place.input_value():
            place.fill("")  # the admin starts such a field with the word null: select all, then type over it
            self.keystrokes += 1
        if len(text) > 200:
            place.fill(text)
        else:
            place.press_sequentially(text)
        self.keystrokes += len(text)

    def choose(self, place, **option):
        place.select_option(**option)
        self.clicks += 1

    @property
    def count(self):
        return {"pages": self.pages, "clicks": self.clicks, "keystrokes": self.keystrokes}


@pytest.fixture
def podiatrist(transactional_db):
    site = factories.site(name="Alder Lane clinic")
    return factories.user("podiatrist", at=site, is_staff=True, is_superuser=True)


@pytest.fixture
def lesion(podiatrist):
    """A record with nothing left to look at: only what is asked at the moment of choosing is open."""
    person = factories.person(at=podiatrist.sites.get())
    limb = factories.limb(of=person)
    made = factories.lesion(on=limb)
    factories.finding(
        of=limb,
        toe_pressure_mmhg=75,
        deformity="none",
        rigid_deformity=False,
        flexible_toe_deformity=False,
        charcot="none",
        oedema="none",
        bulky_calf=False,
        fragile_skin=False,
        monofilament_tested=10,
        monofilament_felt=3,
        dorsalis_pedis="present",
        posterior_tibial="present",
    )
    person.circumstances.create(
        asked_on=timezone.localdate(),
        high_falls_risk=False,
        cannot_attend_weekly=False,
        declines_non_removable=False,
        mobility="walks",
        poor_sight=False,
        drives_or_job_at_risk=False,
        created_by=factories.author(),
    )
    factories.measurement(
        at=factories.visit(of=person),
        of=made,
        depth="skin",
        exudate="light",
        **feet.CLEAN_LOOK,
    )
    factories_care.bone(of=made)
    return made


def prescribe_here(visitor, lesion):
    page = visitor.page
    visitor.open(f"/lesions/{lesion.pk}/")
    effort = Effort(page)
    effort.click(page.get_by_role("link", name="Prescribe a device"))
    page.wait_for_url("**/prescribe/")
    for name, answer in (
        ("needs_frequent_dressing", "no"),
        ("device_available", "yes"),
        ("over_weight_limit", "no"),
    ):
        with page.expect_response(lambda response: "/prescribe/" in response.url):
            effort.click(page.locator(f"input[name={name}][value={answer}]"))
    page.wait_for_load_state("networkidle")
    effort.click(page.locator(f"#advice input[name=device_class][value={FIRST}]"))
    effort.type(page.get_by_label("Reason in words"), REASON)
    effort.click(page.get_by_role("button", name="Sign prescription"))
    page.wait_for_url("**/prescriptions/*/")
    return effort.count


def prescribe_in_admin(visitor, lesion, podiatrist, *, facts, advice, edition):
    page = visitor.page
    visitor.open("/plain-admin/clinic/prescription/")
    effort = Effort(page)
    effort.click(page.get_by_role("link", name="Add prescription"))
    page.wait_for_url("**/add/")
    effort.choose(page.locator("[name=limb]"), value=str(lesion.limb_id))
    effort.choose(page.locator("[name=lesions]"), value=str(lesion.pk))
    effort.choose(page.locator("[name=device_class]"), value=FIRST)
    effort.click(page.locator(".field-prescribed_on .datetimeshortcuts a").first)
    for name, value in (("facts", facts), ("advice", advice)):
        effort.type(page.locator(f"[name={name}]"), value)
    effort.type(page.locator("[name=edition]"), edition)
    effort.type(page.locator("[name=first_offered]"), FIRST)
    effort.choose(page.locator("[name=agrees]"), value="true")
    effort.choose(page.locator("[name=agreement]"), value="first")
    effort.type(page.locator("[name=reason]"), REASON)
    effort.choose(page.locator("[name=signed_by]"), value=str(podiatrist.pk))
    effort.click(page.locator(".field-signed_at .datetimeshortcuts a").first)
    effort.click(page.locator(".field-signed_at .datetimeshortcuts").nth(1).locator("a").first)
    effort.click(page.locator("[name=_save]"))
    page.wait_for_load_state("networkidle")
    assert not page.locator(".errornote").count(), page.locator(
        "#prescription_form .errorlist"
    ).all_inner_texts()
    page.wait_for_url("**/plain-admin/clinic/prescription/")
    return effort.count


def stopped(prescription):
    """Out of the way: a limb has one running device."""
    prescription.stopped_on, prescription.stop_reason = timezone.localdate(), "other"
    prescription.save()


def test_signing_here_asks_less_than_the_admin_and_keeps_more(visitor, lesion, podiatrist, settings, capsys):
    visitor.sign_in(podiatrist)
    ours = prescribe_here(visitor, lesion)
    signed = Prescription.objects.get()
    assert (signed.device_class, signed.agrees, signed.advice["missing"]) == (FIRST, True, [])
    same = {
        "facts": json.dumps(signed.facts),
        "advice": json.dumps(signed.advice),
        "edition": signed.edition,
    }
    least = {"facts": '{"A": 1}', "advice": '{"classes": 1}', "edition": "2023"}

    # The page asks for its draft key by itself; the apps are not changed under a request that is on its way.
    visitor.page.wait_for_load_state("networkidle")
    settings.INSTALLED_APPS = [*settings.INSTALLED_APPS, "django.contrib.admin"]
    settings.ROOT_URLCONF = "tests.journeys.admin_urls"
    counts = {}
    for words, typed in {
        "admin, the least it takes": least,
        "admin, the same findings and advice": same,
    }.items():
        stopped(Prescription.objects.get(stopped_on=None))
        counts[words] = prescribe_in_admin(visitor, lesion, podiatrist, **typed)
        assert Prescription.objects.get(stopped_on=None).content == {}  # nothing sealed, no hash, no sentence
    with capsys.disabled():
        print()
        for words, count in {"here": ours, **counts}.items():
            print(f"  {words}: {count}")
    assert ours["pages"] == 2
    for count in counts.values():
        assert ours["clicks"] < count["clicks"]
        assert ours["keystrokes"] < count["keystrokes"]
