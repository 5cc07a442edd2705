"""The house-rules page: every value with its source, changed by form, with its history."""

import html

import pytest
from django.db import connection
from django.template.defaultfilters import floatformat
from django.test.utils import CaptureQueriesContext

from clinic.models import AuditEvent
from clinic.rules.forms.house_rules import HouseRulesForm
from clinic.rules.reads.house_rules import RULES
from offload.core.plan.crossings import crossings
from tests import factories


def sent(site, **changes):
    """What the browser sends when nothing but `changes` was touched."""
    site.refresh_from_db()
    form = HouseRulesForm(site=site)
    data = {bound.html_name: bound.value() for bound in form}
    data |= {name: value.strftime("%H:%M") for name, value in data.items() if name.startswith("hours_")}
    return {name: "" if value is None else value for name, value in {**data, **changes}.items()}


def page_of(response):
    return html.unescape(response.content.decode())


def test_every_value_stands_with_its_source_or_none(as_podiatrist, site):
    page = page_of(as_podiatrist.get("/house-rules/"))
    for rule in RULES.values():
        assert rule.words in page
        assert not rule.source or f"{rule.source[0].upper()}{rule.source[1:]}" in page
    for name in ("weight_threshold_kg", "margin_mm", "distal_margin_mm", "bevel_deg"):
        assert RULES[name].source == "common practice, no source"


def test_a_change_by_the_page_shows_in_its_history(as_manager, manager, site):
    done = as_manager.post(
        "/house-rules/", sent(site, weight_threshold_kg="95", middle_2_foam="soft", middle_2_mm="2.5")
    )
    assert done.status_code == 302
    site.refresh_from_db()
    assert site.weight_threshold_kg == 95
    assert [layer["thickness_mm"] for layer in site.stack] == [3, 6, 2.5, 6]
    page = page_of(as_manager.get(done["Location"]))
    assert "<td>90 kg</td><td>95 kg</td>" in page
    assert f"<td>{manager}</td>" in page
    assert AuditEvent.objects.count() == 1
    assert "90.0 → 95" in page_of(as_manager.get("/audit/changes/"))


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("weight_threshold_kg", "39.9", "Cut the base from this body weight"),
        ("bevel_deg", "91", "Angle of the wall"),
        ("confirm_closure_days", "13", "Healed is confirmed after"),
        ("distal_margin_mm", "4", "below the margin round the ulcer"),
        ("base_mm", "", "required"),
        ("middle_1_mm", "", "needs both a foam and a thickness"),
        ("cover_foam", "cork", "not one of the available choices"),
        ("hours_end", "08:00", "is not after 08:30"),
    ],
)
def test_a_fault_is_told_at_its_field_and_the_rest_stays_typed(as_podiatrist, site, field, value, words):
    done = as_podiatrist.post("/house-rules/", sent(site, protocol_text="kept words", **{field: value}))
    assert done.status_code == 422
    assert words in page_of(done)
    assert "kept words" in page_of(done)
    assert not AuditEvent.objects.exists()


def test_staff_and_other_sites_are_kept_out(as_staff, as_podiatrist, site, other_site):
    assert as_staff.get("/house-rules/").status_code == 403
    assert as_staff.post("/house-rules/", sent(site)).status_code == 403
    assert as_podiatrist.post(f"/house-rules/?site={other_site.pk}", sent(other_site)).status_code == 404


def test_a_second_site_is_changed_alone(as_manager, manager, site, other_site):
    manager.sites.add(other_site)
    done = as_manager.post(f"/house-rules/?site={other_site.pk}", sent(other_site, margin_mm="6"))
    assert done.status_code == 302
    site.refresh_from_db()
    other_site.refresh_from_db()
    assert (site.margin_mm, other_site.margin_mm) == (5, 6)


def test_queries_do_not_grow_with_the_history(as_manager, site):
    def count():
        with CaptureQueriesContext(connection) as caught:
            assert as_manager.get("/house-rules/").status_code == 200
        return len(caught)

    def changes(values):
        for value in values:
            assert as_manager.post("/house-rules/", sent(site, margin_mm=str(value))).status_code == 302

    changes((6, 7, 8))
    count()
    few = count()
    changes((1, 2, 3, 4, 5, 6, 7, 8, 9))
    count()  # shows the waiting notices, which are taken out of the session
    assert count() == few


def test_a_new_site_has_no_history(as_podiatrist, site):
    factories.site()
    assert "Nothing was changed since" in page_of(as_podiatrist.get("/house-rules/"))


def test_beside_the_threshold_stand_the_computed_weights_and_that_they_settle_nothing(as_manager):
    page = " ".join(as_manager.get("/house-rules/").content.decode().split())
    assert "neither support nor refute the rule" in page
    for one in crossings():
        assert f"{floatformat(one.low, 0)}–{floatformat(one.high, 0)}" in page
        assert one.words[0].upper() + one.words[1:] in page
