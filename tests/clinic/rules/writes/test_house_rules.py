"""House rules change within their bounds, with their history and one row of the chain."""

from decimal import Decimal
from unittest.mock import patch

import pytest

from clinic.models import AuditEvent, Site
from clinic.record.errors import Conflict, Refused
from clinic.rules.reads.house_rules import history_of, seen_number
from clinic.rules.writes.house_rules import BOUNDS, EMERGENCY, TELEPHONES, house_rules_change


def change(site, by, **values):
    return house_rules_change(by=by, site=site, seen=seen_number(site), **values)


def layers(*rows):
    return [{"role": role, "foam": foam, "thickness_mm": mm} for role, foam, mm in rows]


def test_a_change_is_kept_with_who_when_from_and_to(site, podiatrist):
    change(site, podiatrist, weight_threshold_kg=Decimal("95"), margin_mm=site.margin_mm)
    site.refresh_from_db()
    assert site.weight_threshold_kg == 95
    (amendment,) = history_of(site)
    assert amendment.who == str(podiatrist)
    assert amendment.changes == (("Cut the base from this body weight", "90 kg", "95 kg"),)
    event = AuditEvent.objects.get()
    assert (event.verb, event.target_kind) == ("changed", "site")
    assert '"weight_threshold_kg":["90.0","95"]' in event.detail


def test_nothing_is_saved_when_the_audit_row_cannot_be(site, podiatrist):
    with (
        patch("clinic.rules.writes.house_rules.audit.record", side_effect=RuntimeError),
        pytest.raises(RuntimeError),
    ):
        change(site, podiatrist, margin_mm=Decimal("6"))
    assert Site.objects.get(pk=site.pk).margin_mm == 5
    assert history_of(site) == ()


@pytest.mark.parametrize("name", BOUNDS)
def test_each_bound_holds_on_both_sides(site, podiatrist, name):
    low, high = BOUNDS[name]
    for value in (low - 1, high + 1):
        with pytest.raises(Refused) as refused:
            change(site, podiatrist, **{name: value})
        assert refused.value.field == name
    wide = {"distal_margin_mm": 30} if name == "margin_mm" else {}
    wide |= {"margin_mm": 0} if name == "distal_margin_mm" else {}
    for value in (high, low):
        site.refresh_from_db()
        if getattr(site, name) != value:
            change(site, podiatrist, **{name: value, **wide})
    site.refresh_from_db()
    assert getattr(site, name) == low


@pytest.mark.parametrize(
    ("stack", "words"),
    [
        ([], "Stack is empty"),
        (layers(("middle", "soft", 3), ("base", "firm", 6)), "one cover first"),
        (layers(("cover", "soft", 3), ("base", "firm", 6), ("middle", "medium", 6)), "one base last"),
        (layers(("cover", "soft", 3), *[("middle", "medium", 3)] * 3, ("base", "firm", 6)), "0 to 2 middles"),
        (layers(("cover", "cork", 3), ("base", "firm", 6)), "Foam of the cover: cork is not one of"),
        (layers(("cover", "soft", 0), ("base", "firm", 6)), "Thickness of the cover: 0 mm, must be between"),
        (layers(("cover", "soft", 3), ("base", "firm", 31)), "Thickness of the base: 31 mm"),
    ],
)
def test_a_stack_that_is_no_insole_is_refused(site, podiatrist, stack, words):
    with pytest.raises(Refused, match=words):
        change(site, podiatrist, stack=stack)


def test_a_stack_without_a_middle_is_an_insole(site, podiatrist):
    change(site, podiatrist, stack=layers(("cover", "soft", 3), ("base", "firm", 9)))
    assert history_of(site)[0].changes == (
        (
            "Insole from the foot down",
            "cover soft cover foam 3 mm, middle medium foam 6 mm, base firm base foam 6 mm",
            "cover soft cover foam 3 mm, base firm base foam 9 mm",
        ),
    )


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"distal_margin_mm": 4}, "distal_margin_mm"),
        ({"tcpo2_urgent_mmhg": 27}, "tcpo2_urgent_mmhg"),
        ({"confirm_closure_days": 13}, "confirm_closure_days"),
    ],
)
def test_values_against_each_other_or_the_source_are_refused(site, podiatrist, values, field):
    with pytest.raises(Refused) as refused:
        change(site, podiatrist, **values)
    assert refused.value.field == field
    assert not AuditEvent.objects.exists()


def test_a_page_made_before_someone_elses_change_overwrites_nothing(site, podiatrist, manager):
    seen = seen_number(site)
    change(site, manager, bevel_deg=50)
    with pytest.raises(Conflict):
        house_rules_change(by=podiatrist, site=site, seen=seen, bevel_deg=60)
    site.refresh_from_db()
    assert site.bevel_deg == 50


def test_nothing_changed_leaves_no_trace(site, podiatrist):
    with pytest.raises(Refused, match="Nothing was changed"):
        change(site, podiatrist, margin_mm=site.margin_mm)
    assert not AuditEvent.objects.exists()


def test_only_house_rules_can_be_named(site, podiatrist):
    with pytest.raises(TypeError):
        change(site, podiatrist, name="Another clinic")


@pytest.mark.parametrize("name", TELEPHONES)
def test_a_number_is_replaced_with_its_history_and_never_taken_away(site, podiatrist, name):
    before = getattr(site, name)
    for given in ("", "reception", "1" if name == EMERGENCY else "12"):
        with pytest.raises(Refused, match="is no telephone number") as refused:
            change(site, podiatrist, **{name: given})
        assert refused.value.field == name
    change(site, podiatrist, **{name: "000 7777"})
    site.refresh_from_db()
    assert getattr(site, name) == "000 7777"
    ((_, old, new),) = history_of(site)[0].changes
    assert (old, new) == (before, "000 7777")


def test_every_urgency_has_a_number_by_hour(site):
    assert [(row["words"], row["in_hours"], row["out_of_hours"]) for row in site.telephones] == [
        ("At once", "000 1000", "000 2000"),
        ("Within one working day", "000 1001", "000 2001"),
        ("Planned", "000 1002", "000 2002"),
    ]
