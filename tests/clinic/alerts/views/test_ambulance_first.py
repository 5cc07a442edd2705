"""Wherever an emergency sign is named, the ambulance and its number stand before the clinic's own numbers."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from clinic.guidelines.devices import DEVICES
from clinic.guidelines.emergency import EMERGENCY_SIGNS, asks_for_ambulance
from clinic.guidelines.red_flags import RED_FLAGS
from clinic.rules.writes.house_rules import EMERGENCY, TELEPHONES
from tests import factories

pytestmark = pytest.mark.django_db

TEMPLATES = Path(__file__).resolve().parents[4] / "templates"
#: Words that name an emergency sign, on a screen or to the person.
NAMES = re.compile(r"chest (pain|hurts)|breathless|short of breath|breathe|sepsis", re.IGNORECASE)
AMBULANCE = "119 4"
OWN_NUMBER = re.compile(r"000 [12]00[0-2]")


def words_of(page):
    """The text of the page's main part."""
    main = re.search(r"<main.*?</main>", page, re.DOTALL).group(0)
    return " ".join(re.sub(r"<[^>]+>", " ", main).split())


def order_faults(text):
    """What breaks the order on one page, empty when nothing does."""
    faults = []
    own = OWN_NUMBER.search(text)
    at = text.find(AMBULANCE)
    if at < 0:
        return ["no number of the ambulance"]
    if "ambulance" not in text[: at + 80].lower():
        faults.append("the number is not said to be the ambulance's")
    if own and own.start() < at:
        faults.append(f"{own.group(0)} stands before the ambulance")
    device = re.search(r"[Oo]pen (the non-removable|it now)|has to come off", text)
    if device and device.start() < at:
        faults.append(f"“{device.group(0)}” stands before the ambulance")
    return faults


@pytest.fixture
def case(site):
    """A sealed cast, its card, and one unanswered flag a question."""
    site.telephone_emergency = AMBULANCE
    site.save()
    person = factories.person(at=site)
    lesion = factories.lesion(on=factories.limb(of=person))
    day = timezone.localdate()
    cast = factories.prescription(
        of=lesion.limb,
        lesions=[lesion],
        device_class="total_contact_cast",
        fitted_on=day,
        sealed_on=day,
        open_by=day + timedelta(days=7),
    )
    return person, cast


def test_the_law_finds_what_breaks_it():
    assert order_faults("Call 000 1000. Ambulance: 119 4")
    assert order_faults("Open the non-removable device now. Ambulance: 119 4, then 000 1000")
    assert order_faults("Chest pain: call 000 1000")
    assert not order_faults("Chest pain: ambulance first, 119 4. Open it now, then 000 1000")


@pytest.mark.parametrize("flag", [flag.id for flag in RED_FLAGS])
def test_the_sheet_of_a_flag_says_the_ambulance_first(as_staff, case, flag):
    person, _ = case
    raised = factories.red_flag(of=person, flags=[flag])
    text = words_of(as_staff.get(f"/flags/{raised.pk}/answer/").content.decode())
    assert NAMES.search(text)
    assert OWN_NUMBER.search(text)
    assert not order_faults(text)
    assert ("Call an ambulance now" in text) is asks_for_ambulance([flag])
    page = words_of(as_staff.get(f"/people/{person.pk}/").content.decode())
    assert (AMBULANCE in page) is asks_for_ambulance([flag])


def test_the_sheet_that_travels_with_the_visit_and_a_referral_say_the_ambulance_first(as_staff, case):
    person, _ = case
    for path in (f"/people/{person.pk}/visits/new/", f"/people/{person.pk}/referrals/new/"):
        text = words_of(as_staff.get(path).content.decode())
        assert OWN_NUMBER.search(text), path
        assert not order_faults(text), path


def test_a_flag_left_at_a_visit_says_the_ambulance_on_the_visit_page(as_staff, case):
    person, _ = case
    visit = factories.visit(of=person)
    factories.red_flag(of=person, visit=visit, flags=["breathlessness"])
    assert not order_faults(words_of(as_staff.get(f"/visits/{visit.pk}/").content.decode()))


def test_no_template_prints_the_clinic_s_numbers_before_the_ambulance():
    """A new page with the numbers cannot forget it: it is asked of the sources too."""
    numbers = re.compile(
        r"telephone_(?!emergency)\w+|\.telephones|\.telephone\b|in_hours }}|(?<!/)\bnumbers\."
    )
    first = re.compile(r"ambulance_first|_ambulance|emergency")
    apart = {  # the telephone of the person
        "people/_person_fields.html",
        "people/merging/duplicates.html",
        "people/merging/preview.html",
        "alerts/contacts/new.html",
    }
    wrong, seen = [], 0
    for path in sorted(TEMPLATES.rglob("*.html")):
        name, text = str(path.relative_to(TEMPLATES)), path.read_text()
        found = numbers.search(text)
        if not found or name in apart or name.startswith("alerts/_"):
            continue
        seen += 1
        box = first.search(text)
        if not box or box.start() > found.start():
            wrong.append(name)
    assert seen >= 4
    assert not wrong


def test_every_emergency_sign_belongs_to_a_red_flag_and_names_its_source():
    assert {sign.flag for sign in EMERGENCY_SIGNS} <= {flag.id for flag in RED_FLAGS}
    assert all(sign.source for sign in EMERGENCY_SIGNS)
    assert TELEPHONES[0] == EMERGENCY
    assert DEVICES
