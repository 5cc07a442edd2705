"""The lesion page, its chart and its events."""

from datetime import timedelta

import pytest
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinic.models import Event
from tests import factories, factories_care


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def test_the_page_tells_the_verdict_and_every_measurement(as_podiatrist, lesion):
    factories.series(lesion, [4.0, 3.4, 2.6, 2.0, 1.5, 1.1])
    page = as_podiatrist.get(f"/lesions/{lesion.pk}/").content.decode()
    assert "on track" in page
    assert page.count('<th scope="row"') == 6
    assert "1.10 cm²" in page


def test_a_lesion_without_a_measurement_says_what_comes_next(as_staff, lesion):
    page = as_staff.get(f"/lesions/{lesion.pk}/").content.decode()
    assert "No measurement yet" in page
    assert as_staff.get(f"/lesions/{lesion.pk}/chart.svg").status_code == 200


def test_the_chart_is_made_once_and_then_answered_from_its_etag(as_staff, lesion):
    factories.series(lesion, [4.0, 3.4, 2.6])
    first = as_staff.get(f"/lesions/{lesion.pk}/chart.svg")
    assert first["Content-Type"] == "image/svg+xml"
    again = as_staff.get(f"/lesions/{lesion.pk}/chart.svg", headers={"If-None-Match": first["ETag"]})
    assert again.status_code == 304
    visit = factories.visit(of=lesion.limb.person, on=timezone.localdate() - timedelta(days=1))
    factories.measurement(at=visit, of=lesion, cm2=2.2)
    changed = as_staff.get(f"/lesions/{lesion.pk}/chart.svg", headers={"If-None-Match": first["ETag"]})
    assert changed.status_code == 200
    assert changed.content != first.content


def test_a_visit_entered_in_error_leaves_the_curve(as_staff, lesion):
    visits = factories.series(lesion, [4.0, 3.4, 2.6])
    before = as_staff.get(f"/lesions/{lesion.pk}/chart.svg")["ETag"]
    visits[1].state, visits[1].error_reason = "in_error", "wrong patient"
    visits[1].save()
    assert as_staff.get(f"/lesions/{lesion.pk}/chart.svg")["ETag"] != before
    assert "3.40 cm²" not in as_staff.get(f"/lesions/{lesion.pk}/").content.decode()


def test_the_number_of_queries_does_not_grow_with_visits(as_podiatrist, lesion):
    from django.db import connection

    def count():
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert as_podiatrist.get(f"/lesions/{lesion.pk}/").status_code == 200
        return len(queries)

    factories.series(lesion, [4.0, 3.6, 3.2], last=timezone.localdate() - timedelta(days=70))
    few = count()
    factories.series(lesion, [3.0, 2.6, 2.2, 2.0, 1.8, 1.5, 1.2, 1.0])
    factories.prescription(of=lesion.limb, lesions=[lesion])
    few_with_device = count()
    factories.series(
        factories.lesion(on=lesion.limb, place="mth_5"), [1.0], last=timezone.localdate() - timedelta(days=3)
    )
    assert few_with_device <= few + 1
    assert count() <= few_with_device + 1


def test_an_event_stands_on_the_curve(as_staff, lesion):
    sent = as_staff.post(
        f"/lesions/{lesion.pk}/events/new/",
        {"kind": "revascularisation", "happened_on": timezone.localdate().isoformat(), "note": "left leg"},
    )
    assert sent.status_code == 302
    assert Event.objects.get().lesion is None  # it concerns the whole limb
    assert "Revascularisation" in as_staff.get(f"/lesions/{lesion.pk}/").content.decode()


def test_an_event_in_the_future_is_refused_and_the_text_kept(as_staff, lesion):
    sent = as_staff.post(
        f"/lesions/{lesion.pk}/events/new/",
        {"kind": "fall", "happened_on": "2999-01-01", "note": "kept words"},
    )
    assert sent.status_code == 422
    assert "lies in the future" in sent.content.decode()
    assert "kept words" in sent.content.decode()


def test_closing_by_the_page_keeps_the_device_on(as_staff, lesion):
    factories_care.found_covered(lesion, timezone.localdate())
    day = timezone.localdate().isoformat()
    refused = as_staff.post(f"/lesions/{lesion.pk}/close/", {"closed_on": day, "version": lesion.version})
    assert refused.status_code == 422
    sent = as_staff.post(
        f"/lesions/{lesion.pk}/close/", {"closed_on": day, "version": lesion.version, "device_stays": "on"}
    )
    assert sent.status_code == 302
    assert "to confirm" in as_staff.get(f"/lesions/{lesion.pk}/").content.decode()
    assert as_staff.get(f"/lesions/{lesion.pk}/confirm/").status_code == 403


def test_after_a_change_of_method_the_page_says_what_stands_and_no_share_of_one_area(as_staff, person):
    lesion = factories.lesion(on=factories.limb(of=person))
    last = timezone.localdate() - timedelta(days=7)
    factories.series(lesion, [4.0, 3.4, 2.6, 2.0, 1.5, 1.1], last=last)
    now = factories.visit(of=person)
    factories.measurement(at=now, of=lesion, cm2=1.0, method="ellipse", length_mm=13, width_mm=10)
    page = as_staff.get(f"/lesions/{lesion.pk}/").content.decode()
    assert f"On track by areas traced until {last:%-d %b %Y}" in page
    assert "0 % smaller" not in page.replace("&nbsp;", " ")


def test_a_pre_ulcer_is_not_headed_as_an_ulcer(as_staff, site):
    lesion = factories.lesion(
        on=factories.limb(of=factories.person(at=site)), wound_kind="pre_ulcer", label="A"
    )
    for name in ("lesion", "lesion_close", "lesion_end", "photo_new"):
        page = as_staff.get(reverse(name, args=[lesion.pk])).content.decode()
        assert "Pre-ulcer A" in page, name
        assert "Ulcer A" not in page.replace("Pre-ulcer A", ""), name
    visit = as_staff.get(reverse("visit_new", args=[lesion.limb.person_id])).content.decode()
    assert f"Pre-ulcer A, {lesion.where}" in visit
