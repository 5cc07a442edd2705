import io
import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from clinic.models import Measurement, Photo, PhotoConsent, RedFlag, Visit, Weight
from tests import factories
from tests.clinic.form_fields import Fields

pytestmark = pytest.mark.django_db


def days(n):
    return timezone.localdate() + timedelta(days=n)


def iso(n):
    return days(n).isoformat()


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


@pytest.fixture
def url(person):
    return reverse("visit_new", args=[person.pk])


def post(*lesions, **told):
    """A filled form; a field set to None is not sent."""
    sent = {
        "submission_key": str(uuid.uuid4()),
        "visited_on": iso(0),
        "red_flags": ["none"],
        "next_in": "7",
        **told,
    }
    for one in lesions:
        head = f"lesion-{one.pk}-"
        filled = {"length_mm": "20", "width_mm": "10", "debridement": "before"}
        for name, value in filled.items():
            sent.setdefault(head + name, value)
    return {name: value for name, value in sent.items() if value is not None}


def test_the_page_asks_about_every_open_lesion_and_prefills_no_finding(as_staff, url, person, lesion):
    other = factories.lesion(on=factories.limb(of=person, side="right"))
    factories.series(lesion, [3.0, 2.0], last=days(-7))
    page = as_staff.get(url)
    assert page.status_code == 200
    fields = Fields(page.content.decode())
    assert {f"lesion-{lesion.pk}-length_mm", f"lesion-{other.pk}-length_mm"} <= fields.names
    # `next` belongs to the frame: where a fast user switch comes back to.
    assert set(fields.values) == {
        "csrfmiddlewaretoken",
        "next",
        "submission_key",
        "visited_on",
        "weight_how",
    } - ({"weight_how"} if "weight_how" not in fields.values else set())
    assert "2.00 cm², traced" in page.content.decode()


def test_each_opening_of_the_page_has_its_own_key(as_staff, url, lesion):
    keys = {Fields(as_staff.get(url).content.decode()).values["submission_key"][0] for _ in range(2)}
    assert len(keys) == 2


def test_saving_goes_to_the_lesion_and_names_the_new_verdict(as_staff, url, lesion):
    factories.series(lesion, [4.0, 3.0], last=days(-7))
    answer = as_staff.post(url, post(lesion))
    assert answer.status_code == 302
    assert answer["Location"] == reverse("lesion", args=[lesion.pk])
    row = Measurement.objects.get(visit__visited_on=days(0))
    assert (row.method, round(row.area_mm2, 1)) == ("ellipse", 157.1)
    assert Visit.objects.get(visited_on=days(0)).next_on == days(7)
    told = [str(message) for message in answer.wsgi_request._messages]
    assert told[0].startswith(f"Visit of {days(0):%-d %b %Y} saved.")


def test_a_verdict_that_changes_is_named(as_staff, url, lesion):
    factories.series(lesion, [2.0, 2.0], last=days(-7))
    answer = as_staff.post(
        url,
        post(
            lesion,
            **{
                f"lesion-{lesion.pk}-length_mm": None,
                f"lesion-{lesion.pk}-width_mm": None,
                f"lesion-{lesion.pk}-covered_dry": "on",
            },
        ),
    )
    (told,) = [str(message) for message in answer.wsgi_request._messages]
    assert "Ulcer A is now “closed, to confirm”; it was “too early to judge”." in told


def test_an_area_on_a_lesion_noted_as_closed_reopens_it_and_says_so(as_staff, url, lesion):
    type(lesion).objects.filter(pk=lesion.pk).update(state="to_confirm", closed_on=days(-7))
    answer = as_staff.post(url, post(lesion))
    (told,) = [str(message) for message in answer.wsgi_request._messages]
    assert "has an area again: it is reopened" in told
    assert "closed, to confirm" not in told
    lesion.refresh_from_db()
    assert lesion.is_open


def test_nobody_who_left_is_logged_and_the_page_says_why(as_staff, url, person, lesion):
    type(person).objects.filter(pk=person.pk).update(state="moved", state_on=days(-1))
    answer = as_staff.post(url, post(lesion))
    assert answer.status_code == 422
    assert "no longer in care here (moved away)" in answer.content.decode()


def test_several_lesions_are_one_visit_and_lead_to_the_person(as_staff, url, person, lesion):
    other = factories.lesion(on=factories.limb(of=person, side="right"))
    outline = f"lesion-{other.pk}-outline"
    sent = post(lesion, other, **{outline: "0,0; 10,0\n10 10\n0,10", f"lesion-{other.pk}-length_mm": None})
    sent.pop(f"lesion-{other.pk}-width_mm")
    answer = as_staff.post(url, sent)
    assert answer["Location"] == reverse("person", args=[person.pk])
    assert Visit.objects.count() == 1
    assert other.measurements.get().area_mm2 == 100
    assert other.measurements.get().outline_mm == [[0, 0], [10, 0], [10, 10], [0, 10]]


def test_a_faulty_form_answers_422_and_keeps_every_word(as_staff, url, lesion):
    head = f"lesion-{lesion.pk}-"
    typed = {
        "red_flags": [],
        "next_in": "",
        "next_on": iso(9),
        "fall": "no",
        "pain": "worse",
        "other_foot": "problem",
        "other_foot_note": "blister at the heel",
        "note": "came with her daughter",
        "weight_kg": "81.5",
        "weight_how": "told",
        f"{head}length_mm": "12.5",
        f"{head}width_mm": "13",
        f"{head}debridement": "after",
        f"{head}depth": "subcutaneous",
        f"{head}tissue": "slough",
        f"{head}exudate": "heavy",
        f"{head}dressing": "foam",
        f"{head}infection": ["redness", "pus"],
        f"{head}redness_mm": "8",
        f"{head}deep_infection": "no",
        f"{head}probe_to_bone": "no",
        f"{head}unwell": "no",
        f"{head}outline": "1, 2",
        f"{head}not_measured_because": "it bled",
    }
    answer = as_staff.post(url, post(lesion, **typed))
    assert answer.status_code == 422
    page = answer.content.decode()
    kept = Fields(page).values
    for name, value in typed.items():
        if value:
            assert kept[name] == (value if isinstance(value, list) else [value]), name
    assert "Red flags: not answered" in page
    assert page.count("autofocus") >= 1
    assert Visit.objects.count() == 0


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"red_flags": ["none", "gangrene"]}, "is ticked beside a red flag"),
        ({"next_in": ""}, "choose one, or say why there is none"),
        ({"next_in": "7", "next_on": iso(9)}, "keep one"),
        ({"visited_on": iso(1)}, "lies in the future"),
        ({"weight_kg": "80"}, "both the kilograms and how"),
        ({"weight_kg": "8", "weight_how": "scales"}, "8 kg; it must be between 20 and 300 kg"),
        ({"submission_key": "not-a-key"}, "valid UUID"),
    ],
)
def test_what_is_wrong_is_said_at_the_top_and_at_its_field(as_staff, url, lesion, told, words):
    answer = as_staff.post(url, post(lesion, **told))
    assert answer.status_code == 422
    assert words in answer.content.decode().replace("&quot;", '"')
    assert Visit.objects.count() == 0


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("outline", "1,2\nx,3", "point 2 is"),
        ("outline", "[[1,2],[3", "not a list of points"),
        ("outline", "0,0;10,10;10,0;0,10", "crosses"),
        ("infection", ["none", "pus"], "beside a sign"),
        ("redness_mm", "5", "redness is not ticked"),
        ("covered_dry", "on", "give one of them"),
        ("length_mm", "9", "cannot exceed the length"),
        ("debridement", "", "not said"),
    ],
)
def test_a_fault_of_a_lesion_names_the_lesion_first(as_staff, url, lesion, field, value, words):
    head = f"lesion-{lesion.pk}-"
    told = {head + field: value}
    if field == "outline":
        told |= {f"{head}length_mm": "", f"{head}width_mm": ""}
    answer = as_staff.post(url, post(lesion, **told))
    assert answer.status_code == 422
    page = answer.content.decode()
    assert words in page
    assert "Ulcer A. " in page


def test_the_same_form_sent_twice_is_one_visit_and_leads_to_it(as_staff, url, lesion):
    sent = post(lesion)
    as_staff.post(url, sent)
    again = as_staff.post(url, sent)
    visit = Visit.objects.get()
    assert again["Location"] == reverse("visit", args=[visit.pk])
    assert Measurement.objects.count() == 1


def test_the_same_form_sent_twice_with_weight_and_an_opened_device_is_one_visit(as_staff, url, lesion):
    factories.prescription(
        of=lesion.limb,
        facts={"region": "forefoot"},
        device_class="total_contact_cast",
        fitted_on=days(-7),
        prescribed_on=days(-7),
        sealed_on=days(-7),
        open_by=days(0),
    )
    sent = post(lesion, weight_kg="80", weight_how="scales", device_opened="on", wear="still_sealed")
    assert as_staff.post(url, sent).status_code == 302
    assert as_staff.post(url, sent).status_code == 302
    assert (Visit.objects.count(), Weight.objects.count()) == (1, 1)


def test_htmx_is_sent_on_to_the_next_page(as_staff, url, lesion):
    answer = as_staff.post(url, post(lesion), headers={"HX-Request": "true"})
    assert answer["HX-Redirect"] == reverse("lesion", args=[lesion.pk])


def test_a_red_flag_leads_to_its_sheet(as_staff, url, lesion):
    answer = as_staff.post(url, post(lesion, red_flags=["gangrene"]))
    flag = RedFlag.objects.get()
    assert answer["Location"] == reverse("flag_answer", args=[flag.pk])
    sheet = as_staff.get(answer["Location"]).content.decode()
    assert "black or dead tissue" in sheet
    assert "000 1000" in sheet or "000 2000" in sheet


def test_wear_is_asked_as_the_running_device_needs(as_staff, url, lesion):
    assert "wear" not in Fields(as_staff.get(url).content.decode()).names
    device = factories.prescription(of=lesion.limb, fitted_on=days(-3))
    page = as_staff.get(url).content.decode()
    assert 'value="most"' in page
    assert 'value="still_sealed"' not in page
    type(device).objects.filter(pk=device.pk).update(
        device_class="total_contact_cast", sealed_on=days(-3), open_by=days(4)
    )
    page = as_staff.get(url).content.decode()
    assert 'value="most"' not in page
    assert 'value="still_sealed"' in page
    assert "device_opened" in Fields(page).names


def test_weight_is_asked_only_when_due(as_staff, url, person, lesion):
    assert "weight_kg" in Fields(as_staff.get(url).content.decode()).names
    factories.weight(of=person)
    assert "weight_kg" not in Fields(as_staff.get(url).content.decode()).names


def picture():
    data = io.BytesIO()
    Image.new("RGB", (40, 30), "white").save(data, "PNG")
    data.seek(0)
    data.name = "foot.png"
    return data


def test_a_photo_is_taken_in_only_under_consent(as_staff, url, person, lesion, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    name = f"lesion-{lesion.pk}-photo"
    assert name not in Fields(as_staff.get(url).content.decode()).names
    PhotoConsent.objects.create(person=person, given_on=days(-9), created_by=factories.author())
    assert name in Fields(as_staff.get(url).content.decode()).names
    as_staff.post(url, post(lesion, **{name: picture()}))
    photo = Photo.objects.get()
    assert (photo.visit, photo.lesion) == (Visit.objects.get(), lesion)


def test_a_file_that_is_no_picture_stores_no_visit(as_staff, url, person, lesion):
    PhotoConsent.objects.create(person=person, given_on=days(-9), created_by=factories.author())
    broken = io.BytesIO(b"not a picture")
    broken.name = "foot.png"
    answer = as_staff.post(url, post(lesion, **{f"lesion-{lesion.pk}-photo": broken}))
    assert answer.status_code == 422
    assert "not a readable JPEG, PNG" in answer.content.decode()
    assert Visit.objects.count() == 0


def check(client, person, lesion, **told):
    head = f"lesion-{lesion.pk}-"
    sent = {head + name: value for name, value in told.items()}
    url = f"{reverse('visit_check', args=[person.pk])}?lesion={lesion.pk}"
    answer = client.post(url, sent)
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_live_line_tells_area_and_change_and_stores_nothing(as_staff, person, lesion):
    at = factories.visit(of=person, on=days(-7))
    factories.measurement(at=at, of=lesion, cm2=2.0, method="ellipse")
    line = check(as_staff, person, lesion, length_mm="20", width_mm="10", debridement="before")
    assert "1.57 cm²" in line
    assert "21 % smaller (± 28 %, within error)" in line
    assert "say before or after" in check(as_staff, person, lesion, length_mm="20", width_mm="10")
    assert "both length and width are needed" in check(as_staff, person, lesion, length_mm="20")
    assert "crosses" in check(as_staff, person, lesion, outline="0,0;9,9;9,0;0,9")
    assert "cm²" not in check(as_staff, person, lesion)
    assert Measurement.objects.count() == 1


def test_the_live_line_survives_nonsense(as_staff, person, lesion):
    url = reverse("visit_check", args=[person.pk])
    for day in ("2026-13-45", "yesterday", ""):
        sent = {"visited_on": day, f"lesion-{lesion.pk}-length_mm": "ten"}
        assert as_staff.post(url, sent).status_code == 200


def test_roles_and_sites_are_held(as_manager, as_staff, url, person, lesion, other_site):
    stranger = factories.person(at=other_site)
    visit = factories.visit(of=person)
    foreign = factories.visit(of=stranger)
    for name in ("visit_new", "visit_check", "visit_missed", "contact_new"):
        assert as_manager.get(reverse(name, args=[person.pk])).status_code == 403
        assert as_staff.get(reverse(name, args=[stranger.pk])).status_code == 404
    for name in ("visit_correct", "visit_in_error"):
        assert as_manager.get(reverse(name, args=[visit.pk])).status_code == 403
        assert as_staff.get(reverse(name, args=[foreign.pk])).status_code == 404
    assert as_manager.get(reverse("visit", args=[visit.pk])).status_code == 200
    assert as_staff.get(reverse("visit", args=[foreign.pk])).status_code == 404


def test_the_number_of_queries_of_the_page_does_not_grow(as_staff, site):
    def count(n):
        who = factories.person(at=site)
        limb = factories.limb(of=who)
        visit = factories.visit(of=who, on=days(-7))
        for i in range(n):
            factories.measurement(at=visit, of=factories.lesion(on=limb, label=str(i)))
        with CaptureQueriesContext(connection) as caught:
            assert as_staff.get(reverse("visit_new", args=[who.pk])).status_code == 200
        return len(caught)

    count(1)
    assert count(3) == count(9)


def test_signs_of_the_whole_person_stay_folded_until_one_is_given(as_staff, url, lesion):
    assert '<details class="signs">' in as_staff.get(url).content.decode()
    sent = as_staff.post(url, post(lesion, temperature_c="51"))
    page = sent.content.decode()
    assert sent.status_code == 422
    assert '<details class="signs" open>' in page
    assert "51 °C; it must be between 25 and 45 °C" in page
    assert 'value="51"' in page


def test_what_looking_for_infection_means_stands_beside_its_tick(as_staff, url, lesion):
    page = as_staff.get(url).content.decode()
    assert "Looked: device and dressing off, all five looked for, the ulcer probed." in page


def test_a_visit_whose_findings_are_past_an_urgent_line_leads_to_its_flag(as_staff, url, lesion):
    factories.finding(of=lesion.limb, toe_pressure_mmhg=22)
    sent = as_staff.post(url, post(lesion))
    flag = RedFlag.objects.get()
    assert flag.from_record == {"ischaemia": 3}
    assert sent.url == reverse("flag_answer", args=[flag.pk])
