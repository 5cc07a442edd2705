"""The prescription page from facts to signature, and what follows."""

import hashlib
import html
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.devices.reads import advice
from clinic.guidelines import edition
from clinic.models import Lesion, Prescription
from tests import factories, feet


@pytest.fixture
def limb(person):
    made = factories.limb(of=person)
    factories.lesion(on=made)
    return made


def seen(page):
    return re.search(r'name="seen" value="([0-9a-f]{64})"', page.content.decode()).group(1)


def test_missing_facts_are_named_and_nothing_that_stays_on_is_offered(as_podiatrist, limb):
    page = as_podiatrist.get(f"/limbs/{limb.pk}/prescribe/").content.decode()
    assert "not known" in page
    assert re.search(
        r"Not known:</strong> infection grade \(IWGDF/IDSA\).*active Charcot foot", page, re.DOTALL
    )
    offered = page.split("Withheld, and why")[0]
    assert 'value="total_contact_cast"' not in offered
    assert 'value="walker_knee_high_removable"' in offered


def test_answers_change_the_advice_without_touching_the_record(as_podiatrist, limb):
    url = f"/limbs/{limb.pk}/prescribe/"
    before = seen(as_podiatrist.get(url))
    part = as_podiatrist.post(
        url, {"device_available": "no", "work_out": "yes"}, headers={"HX-Request": "true"}
    )
    assert part.content.decode().strip().startswith('<div id="advice"')
    assert seen(part) != before
    assert not Prescription.objects.exists()


def test_a_choice_is_signed_with_its_reason(as_podiatrist, limb):
    url = f"/limbs/{limb.pk}/prescribe/"
    sent = as_podiatrist.post(
        url,
        {
            "device_class": "walker_knee_high_removable",
            "reason": "Perfusion is not measured yet; removable meanwhile.",
            "seen": seen(as_podiatrist.get(url)),
        },
    )
    made = Prescription.objects.get()
    assert sent.status_code == 302
    assert made.agrees is None  # facts were missing, so no one can judge the choice
    page = as_podiatrist.get(f"/prescriptions/{made.pk}/").content.decode()
    assert "removable meanwhile" in page
    assert "cannot be judged" in page


def test_an_unfinished_form_keeps_what_was_typed(as_podiatrist, limb):
    url = f"/limbs/{limb.pk}/prescribe/"
    sent = as_podiatrist.post(
        url,
        {
            "device_class": "footwear_modification",
            "reason": "Words that must not be lost",
            "seen": seen(as_podiatrist.get(url)),
        },
    )
    assert sent.status_code == 422
    assert "Words that must not be lost" in sent.content.decode()
    assert "choose the reason that fits best" in sent.content.decode()


def test_a_limb_without_an_open_lesion_has_nothing_to_offload(as_podiatrist, person):
    page = as_podiatrist.get(f"/limbs/{factories.limb(of=person).pk}/prescribe/")
    assert "nothing to offload" in page.content.decode()


def test_staff_fit_but_do_not_prescribe(as_staff, limb):
    assert as_staff.get(f"/limbs/{limb.pk}/prescribe/").status_code == 403
    feet.clean_foot(limb.lesions.get())
    made = factories.prescription(
        of=limb, lesions=list(limb.lesions.all()), device_class="walker_non_removable"
    )
    today = timezone.localdate()
    sent = as_staff.post(
        f"/prescriptions/{made.pk}/fit/",
        {"fitted_on": today.isoformat(), "sealed": "on", "open_by": "2999-01-01", "version": made.version},
    )
    assert sent.status_code == 422
    assert "at the latest" in sent.content.decode()


def test_a_prescription_of_another_site_is_not_there(as_podiatrist, other_site):
    limb = factories.limb(of=factories.person(at=other_site))
    made = factories.prescription(of=limb)
    assert as_podiatrist.get(f"/prescriptions/{made.pk}/").status_code == 404
    assert as_podiatrist.get(f"/limbs/{limb.pk}/prescribe/").status_code == 404


def post_choice(client, limb, **changed):
    url = f"/limbs/{limb.pk}/prescribe/"
    sent = {
        "device_class": "walker_knee_high_removable",
        "reason": "Perfusion is not measured yet; removable meanwhile.",
        "seen": seen(
            client.post(
                url, {"work_out": "yes", **{k: v for k, v in changed.items() if not k.startswith("if-")}}
            )
        ),
        **changed,
    }
    return client.post(url, sent)


def test_every_class_shows_its_rules_with_their_grade_and_labels_from_memory_say_so(as_podiatrist, limb):
    page = html.unescape(as_podiatrist.get(f"/limbs/{limb.pk}/prescribe/").content.decode())
    assert "SECOND_RM" in page
    assert "Strength conditional, certainty low (label from memory)" in page
    assert "doi:10.1002/dmrr.3647" in page
    assert "Compare them side by side" in page
    assert "SINBAD" in page


def test_a_what_if_says_so_offers_nothing_to_sign_and_is_refused_when_sent(as_podiatrist, limb):
    url = f"/limbs/{limb.pk}/prescribe/"
    factories.finding(of=limb, charcot="none")
    lesion = limb.lesions.get()
    tried = as_podiatrist.post(url, {f"if-surface_{lesion.pk}": "dorsal", "work_out": "yes"}).content.decode()
    assert "What if: not the record" in tried
    assert 'name="seen"' not in tried
    assert 'type="radio" name="device_class"' not in tried
    assert "surface: dorsal" in tried
    assert "Would also be offered" in tried
    sent = post_choice(as_podiatrist, limb, **{f"if-surface_{lesion.pk}": "dorsal"})
    assert sent.status_code == 422
    assert "Nothing was signed" in sent.content.decode()
    assert not Prescription.objects.exists()
    lesion.refresh_from_db()
    assert lesion.foot_site.surface == "plantar"


def test_every_fact_has_a_switch_with_every_value_and_not_known(as_podiatrist, limb):
    page = as_podiatrist.get(f"/limbs/{limb.pk}/prescribe/").content.decode()
    lesion = limb.lesions.get()
    for name in advice.WORDS:
        key = f"if-{name}_{lesion.pk}" if f'name="if-{name}"' not in page else f"if-{name}"
        assert f'name="{key}"' in page, name
        switch = page.split(f'name="{key}"')[1].split("</select>")[0]
        assert switch.count("<option") >= 4, name
        assert 'value="unknown"' in switch


def record_of(page):
    """What the page says of the decision itself."""
    found = re.search(r'<article id="signed-record".*?</article>', page.content.decode(), re.DOTALL)
    return hashlib.sha256(found.group(0).encode()).hexdigest()


def test_what_page_and_print_say_survives_changed_findings_names_places_and_another_edition(
    as_podiatrist, podiatrist, limb, monkeypatch
):
    post_choice(as_podiatrist, limb)
    made = Prescription.objects.get()
    page, print_ = f"/prescriptions/{made.pk}/", f"/prescriptions/{made.pk}/record/"
    sentence = made.decisions.get().sentence
    before = record_of(as_podiatrist.get(page)), record_of(as_podiatrist.get(print_))
    assert before[0] == before[1]

    factories.finding(of=limb, toe_pressure_mmhg=10, charcot="active")
    person, lesion = limb.person, limb.lesions.get()
    person.family_name, person.given_name = "Otherwise", "Named"
    person.save()
    lesion.place, lesion.cause = "heel_central", "ischaemic"
    lesion.save()
    podiatrist.first_name, podiatrist.last_name, podiatrist.role = "Another", "Name", "podiatrist"
    podiatrist.save()
    site = person.site
    site.name, site.protocol_text = "Renamed clinic", "Now we do otherwise."
    site.save()
    older = edition.editions()["IWGDF offloading 2019"]
    monkeypatch.setattr(advice, "current", lambda: older)
    devices = {
        name: type(d)(**{**vars_of(d), "label": f"Renamed {d.label}"}) for name, d in advice.DEVICES.items()
    }
    monkeypatch.setattr(advice, "DEVICES", devices)

    assert (record_of(as_podiatrist.get(page)), record_of(as_podiatrist.get(print_))) == before
    text = as_podiatrist.get(print_).content.decode()
    assert "unchanged since signing" in text
    assert "the same as in this clinic" in text
    assert made.content_sha256 in text
    made.refresh_from_db()
    assert made.decisions.get().sentence == sentence
    told = html.unescape(as_podiatrist.get(f"/limbs/{limb.pk}/decisions/").content.decode())
    assert sentence in told
    assert "does not match" not in told


def vars_of(device):
    return {name: getattr(device, name) for name in device.__dataclass_fields__}


def test_content_altered_behind_the_program_is_told_on_every_page(as_podiatrist, limb):
    post_choice(as_podiatrist, limb)
    made = Prescription.objects.get()
    made.content["reason"] = "Something else entirely."
    Prescription.objects.filter(pk=made.pk).update(content=made.content)
    for path in (
        f"/prescriptions/{made.pk}/",
        f"/prescriptions/{made.pk}/record/",
        f"/limbs/{limb.pk}/decisions/",
    ):
        assert "does not match its hash" in as_podiatrist.get(path).content.decode(), path


def test_the_second_podiatrist_signs_by_the_page_and_the_first_cannot(as_podiatrist, client, limb, site):
    site.second_signature = True
    site.save()
    post_choice(as_podiatrist, limb)
    made = Prescription.objects.get()
    page = as_podiatrist.get(f"/prescriptions/{made.pk}/").content.decode()
    assert "Waits for a second signature" in page
    assert "Sign second" not in page
    as_podiatrist.post(f"/prescriptions/{made.pk}/second/", {"version": made.version})
    made.refresh_from_db()
    assert made.second_at is None
    client.force_login(factories.user("podiatrist", at=site))
    assert "Sign second" in client.get(f"/prescriptions/{made.pk}/").content.decode()
    client.post(f"/prescriptions/{made.pk}/second/", {"version": made.version})
    made.refresh_from_db()
    assert made.second_at is not None
    assert "waits" not in client.get(f"/prescriptions/{made.pk}/").content.decode().lower()


def test_a_change_of_device_shows_the_last_answers_and_carries_them_over_only_when_asked(as_podiatrist, limb):
    post_choice(as_podiatrist, limb, device_available="yes", needs_frequent_dressing="no")
    url = f"/limbs/{limb.pk}/prescribe/"
    page = as_podiatrist.get(url).content.decode()
    assert "Last: yes" in page
    assert "Copy last answers, of" in page
    assert not re.search(r'name="device_available" value="yes"[^>]*checked', page)
    carried = as_podiatrist.get(url, {"carry": "yes"}).content.decode()
    assert re.search(r'name="device_available" value="yes"[^>]*checked', carried)
    # Bone infection is judged and care that failed is reviewed: neither is ticked on this page.
    assert not re.search(r'name="(osteomyelitis|non_surgical_care_failed)', carried)
    refused = post_choice(as_podiatrist, limb, stop_reason="")
    assert refused.status_code == 422
    assert "Why does the present device stop?" in refused.content.decode()
    assert post_choice(as_podiatrist, limb, stop_reason="not_tolerated").status_code == 302
    newest = Prescription.objects.first()
    assert (
        "in place of removable knee-high walker (not tolerated)"
        in newest.decisions.get(kind="signed").sentence
    )


def test_the_local_protocol_and_a_tighter_urgency_stand_on_the_page(as_podiatrist, limb, site):
    site.protocol_text = "Ring the vascular nurse first."
    site.urgencies = {"vascular_assessment": "immediate"}
    site.save()
    factories.finding(of=limb, toe_pressure_mmhg=35)
    page = html.unescape(as_podiatrist.get(f"/limbs/{limb.pk}/prescribe/").content.decode())
    assert "Ring the vascular nurse first." in page
    assert "Vascular assessment: at once." in page
    assert "Urgency of this clinic." in page


def test_a_non_plantar_lesion_gets_what_serves_it_and_its_own_fitting_list(as_podiatrist, limb):
    Lesion.objects.filter(limb=limb).update(place="dorsum")
    factories.finding(of=limb, charcot="none")
    sent = post_choice(as_podiatrist, limb, device_class="dorsum_free_device", reason="Strap rubs the top.")
    assert sent.status_code == 302
    made = Prescription.objects.get()
    page = as_podiatrist.get(f"/prescriptions/{made.pk}/fit/").content.decode()
    assert "none over it" in page
    assert "Bandage ends below the knee" not in page


def test_a_removable_device_is_fitted_by_the_list_and_the_rest_kept_as_not_recorded(as_staff, limb):
    made = factories.prescription(of=limb)
    today = timezone.localdate().isoformat()
    sent = as_staff.post(
        f"/prescriptions/{made.pk}/fit/", {"fitted_on": today, "version": made.version, "step_0": "done"}
    )
    assert sent.status_code == 302
    kept = made.fittings.get()
    assert [step["answer"] for step in kept.steps][:2] == ["done", ""]
    assert "not recorded" in as_staff.get(f"/prescriptions/{made.pk}/").content.decode()


JARGON = (
    "plantar",
    "ischaemi",
    "infection grade",
    "offload",
    "removable",
    "neuropath",
    "osteomyelitis",
    "erythema",
    "oedema",
    "contraindic",
    "ulcer",
    "debride",
    "exudate",
    "adheren",
    "weight-bearing",
    "lesion",
    "iwgdf",
)


@pytest.mark.parametrize("device", sorted(advice.DEVICES))
def test_the_sheet_for_the_person_is_in_plain_words_with_both_numbers(as_staff, limb, device):
    made = factories.prescription(of=limb, device_class=device)
    page = as_staff.get(f"/prescriptions/{made.pk}/advice-sheet/").content.decode()
    sheet = re.search(r'<article class="paper.*?</article>', page, re.DOTALL).group(0)
    words = re.sub(r"<[^>]+>", " ", sheet).lower()
    assert not [word for word in JARGON if word in words]
    assert "000 1000" in words
    assert "000 2000" in words


def test_the_queries_of_the_page_do_not_grow(as_podiatrist, limb):
    def count():
        with CaptureQueriesContext(connection) as caught:
            assert as_podiatrist.get(f"/limbs/{limb.pk}/prescribe/").status_code == 200
        return len(caught)

    factories.finding(of=limb, toe_pressure_mmhg=60)
    factories.measurement(at=factories.visit(of=limb.person), of=limb.lesions.get())
    count()
    few = count()
    for place in ("mth_3", "mth_4", "web_2"):
        factories.lesion(on=limb, place=place)
    for _ in range(6):
        factories.finding(of=limb, toe_pressure_mmhg=60)
    assert count() == few


def test_the_decisions_page_reads_in_a_constant_number_of_queries(as_podiatrist, limb):
    def count():
        with CaptureQueriesContext(connection) as caught:
            assert as_podiatrist.get(f"/limbs/{limb.pk}/decisions/").status_code == 200
        return len(caught)

    post_choice(as_podiatrist, limb)
    count()
    few = count()
    for _ in range(3):
        assert post_choice(as_podiatrist, limb, stop_reason="changed").status_code == 302
    count()  # shows the waiting notices, which are taken out of the session
    assert count() == few


def test_today_and_review_lead_the_second_signer_to_the_signature(client, site):
    lesion = factories.lesion(on=factories.limb(of=factories.person(at=site)))
    pods = [factories.user("podiatrist", at=site) for _ in range(2)]
    waiting = factories.prescription(of=lesion.limb, lesions=[lesion], signed_by=pods[0], second_needed=True)
    link = f'href="/prescriptions/{waiting.pk}/"'
    client.force_login(factories.user("staff", at=site))
    assert 'data-message="sign_second"' not in client.get("/today/").content.decode()
    for user, asked in ((pods[0], False), (pods[1], True)):
        client.force_login(user)
        today, review = client.get("/today/").content.decode(), client.get("/review/").content.decode()
        assert ('data-message="sign_second"' in today) is asked
        assert (f"{link}>Sign second</a>" in review) is asked
        assert "waits for a second signature" in review
    client.post(f"/prescriptions/{waiting.pk}/second/", {"version": waiting.version})
    assert "waits for a second signature" not in client.get("/review/").content.decode()
    assert 'data-message="sign_second"' not in client.get("/today/").content.decode()


def test_facts_of_a_person_and_typed_words_are_tried_in_the_body_and_never_in_an_address(as_podiatrist, limb):
    url = f"/limbs/{limb.pk}/prescribe/"
    page = as_podiatrist.get(url).content.decode()
    assert "formmethod" not in page
    assert "hx-get" not in page.split('<form method="post" class="prescribe"')[1]
    tried = {"device_available": "no", "reason": "She showers her mother", "work_out": "yes"}
    again = as_podiatrist.post(url, tried)
    assert again.status_code == 200
    assert "She showers her mother" in again.content.decode()
    assert not Prescription.objects.exists()
    # A link cannot fill in answers.
    linked = as_podiatrist.get(url, {"device_available": "no"}).content.decode()
    assert seen(as_podiatrist.get(url)) == re.search(r'name="seen" value="(\w+)"', linked)[1]
