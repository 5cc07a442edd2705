"""The reasons on the settings page: managers change them, all who see settings read them."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.models import SiteReason
from clinic.rules.writes.reasons import reason_add
from tests import factories

pytestmark = pytest.mark.django_db


def test_a_manager_adds_and_rewords_a_reason_and_reads_what_changed(as_manager, manager, site):
    page = f"{reverse('reasons')}?site={site.pk}"
    assert (
        as_manager.post(
            page, {"words": "No bus on clinic days", "place": "departure.cannot_attend"}
        ).status_code
        == 302
    )
    row = SiteReason.objects.get()
    shown = as_manager.get(page).content.decode()
    assert "No bus on clinic days" in shown
    edit = f"{reverse('reason_edit', args=['departure', f'own-{row.pk}'])}?site={site.pk}"
    assert "No bus on clinic days" in as_manager.get(edit).content.decode()
    done = as_manager.post(edit, {"words": "No transport", "seen": row.version})
    assert done.status_code == 302
    shown = as_manager.get(page).content.decode()
    assert "No transport (out of use)" in shown
    assert str(manager) in shown
    settings = as_manager.get(f"{reverse('settings')}?site={site.pk}").content.decode()
    assert "added a reason" in settings
    assert "No bus on clinic days → No transport" in settings


def test_a_refused_reason_answers_422_and_keeps_the_text(as_manager, site):
    answer = as_manager.post(
        f"{reverse('reasons')}?site={site.pk}", {"words": "Other", "place": "departure.skill"}
    )
    assert answer.status_code == 422
    assert 'value="Other"' in answer.content.decode()
    answer = as_manager.post(
        f"{reverse('reasons')}?site={site.pk}", {"words": "Long words kept", "place": ""}
    )
    assert answer.status_code == 422
    assert "Long words kept" in answer.content.decode()


def test_podiatrists_read_the_reasons_and_change_none(as_podiatrist, site, podiatrist):
    shown = as_podiatrist.get(f"{reverse('settings')}?site={site.pk}").content.decode()
    assert "The patient declines it" in shown
    assert reverse("reasons") not in shown
    assert as_podiatrist.get(reverse("reasons")).status_code == 403
    assert as_podiatrist.post(reverse("reason_edit", args=["stop", "broken"])).status_code == 403


def test_no_other_reason_and_no_other_clinic_is_there(as_manager, other_site, manager):
    theirs = reason_add(by=manager, site=other_site, kind="stop", words="Came apart", counts_as="broken")
    for kind, key in (("stop", f"own-{theirs.pk}"), ("stop", "nothing"), ("wear", "broken")):
        assert as_manager.get(reverse("reason_edit", args=[kind, key])).status_code == 404
    assert as_manager.get(f"{reverse('reasons')}?site={other_site.pk}").status_code == 404


def test_the_stop_form_offers_the_clinics_reasons(as_staff, site, manager):
    row = reason_add(by=manager, site=site, kind="stop", words="Came apart at the sole", counts_as="broken")
    device = factories.prescription(of=factories.limb(of=factories.person(at=site)))
    page = reverse("prescription_stop", args=[device.pk])
    assert f'value="own-{row.pk}"' in as_staff.get(page).content.decode()
    done = as_staff.post(
        page,
        {
            "version": device.version,
            "stopped_on": timezone.localdate().isoformat(),
            "stop_reason": f"own-{row.pk}",
        },
    )
    assert done.status_code == 302
    assert (
        "came apart at the sole" in as_staff.get(reverse("prescription", args=[device.pk])).content.decode()
    )


def test_the_cases_behind_an_own_reason_open_with_its_words(as_manager, site, manager):
    row = reason_add(by=manager, site=site, kind="departure", words="No bus", counts_as="cannot_attend")
    day = timezone.localdate() - timedelta(days=3)
    factories.prescription(
        of=factories.limb(of=factories.person(at=site)),
        prescribed_on=day,
        agrees=False,
        agreement="departed",
        departure_reason="cannot_attend",
        departure_own=row,
        departure_words="No bus then",
    )
    home = as_manager.get(reverse("audit")).content.decode()
    assert f"figure=reason_own.{row.pk}" in home
    cases = as_manager.get(f"{reverse('audit_cases')}?figure=reason_own.{row.pk}")
    assert cases.status_code == 200
    assert "No bus then." in cases.content.decode()
    for wrong in ("x", "9" * 30, "-1"):
        assert as_manager.get(f"{reverse('audit_cases')}?figure=reason_own.{wrong}").status_code == 404
