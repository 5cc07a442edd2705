"""Curves are drawn once, sent once, and carry the axis they were asked for; comparisons say slope and
interval.
"""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.curves import views as curves
from tests import factories

AGO = lambda days: timezone.localdate() - timedelta(days=days)  # noqa: E731


@pytest.fixture
def lesion(person):
    found = factories.lesion(on=factories.limb(of=person))
    factories.series(found, [4.0, 3.9, 4.0, 3.6, 2.9, 2.2, 1.6])
    return found


def chart(client, lesion, query="", **headers):
    return client.get(f"/lesions/{lesion.pk}/chart.svg{query}", headers=headers)


def test_the_axis_is_part_of_the_picture_and_of_its_tag(as_staff, lesion):
    answers = [chart(as_staff, lesion, q) for q in ("", "?show=reduction", "?scale=log")]
    assert len({a["ETag"] for a in answers}) == 3
    assert b"Reduction from the first area" in answers[1].content
    assert b"by factors" in answers[2].content
    tag = {"If-None-Match": answers[1]["ETag"]}
    assert chart(as_staff, lesion, "?show=reduction", **tag).status_code == 304
    assert chart(as_staff, lesion, "", **tag).status_code == 200


@pytest.mark.parametrize("query", ["?show=volume", "?scale=cubic", "?show=reduction&scale=log"])
def test_an_axis_that_is_not_offered_is_not_there(as_staff, lesion, query):
    assert chart(as_staff, lesion, query).status_code == 404
    assert as_staff.get(f"/lesions/{lesion.pk}/{query}").status_code == 404


def test_a_reduction_from_nothing_says_so(as_staff, person):
    lesion = factories.lesion(on=factories.limb(of=person))
    factories.series(lesion, [0.0, 0.0])
    assert b"needs one above 0" in chart(as_staff, lesion, "?show=reduction").content


def test_the_lesion_page_marks_the_switch_that_is_on(as_staff, lesion):
    page = as_staff.get(f"/lesions/{lesion.pk}/?show=reduction").content.decode()
    assert '<a href="?show=reduction&amp;scale=linear#curve" aria-current="true">Reduction</a>' in page
    assert f"/lesions/{lesion.pk}/chart.svg?show=reduction&amp;scale=linear" in page


def device_change(lesion, days_ago):
    factories.prescription(
        of=lesion.limb,
        lesions=[lesion],
        device_class="walker_knee_high_removable",
        prescribed_on=AGO(days_ago),
        fitted_on=AGO(days_ago),
    )


def test_a_device_change_with_three_areas_on_each_side_is_compared_at_once(as_staff, lesion):
    device_change(lesion, 28)
    page = as_staff.get(f"/lesions/{lesion.pk}/compare/").content.decode()
    assert "mm a week faster" in page
    assert f"/lesions/{lesion.pk}/compare.svg?against=day%3A{AGO(28)}" in page
    svg = as_staff.get(f"/lesions/{lesion.pk}/compare.svg?against=day:{AGO(28)}")
    assert svg.status_code == 200
    assert b"mm a week" in svg.content
    again = as_staff.get(
        f"/lesions/{lesion.pk}/compare.svg?against=day:{AGO(28)}", headers={"If-None-Match": svg["ETag"]}
    )
    assert again.status_code == 304


def test_a_change_with_too_few_areas_says_what_it_needs(as_staff, lesion):
    device_change(lesion, 7)
    page = as_staff.get(f"/lesions/{lesion.pk}/compare/?against=day:{AGO(7)}").content.decode()
    assert "at least 3 areas" in page
    assert "compare.svg" not in page
    assert as_staff.get(f"/lesions/{lesion.pk}/compare.svg?against=day:{AGO(7)}").status_code == 404


def test_another_lesion_of_the_person_can_be_compared_and_one_of_another_person_not(as_staff, site, lesion):
    second = factories.lesion(on=lesion.limb)
    for visit, area in zip(
        lesion.limb.person.visits.order_by("visited_on"), [3.0, 2.8, 2.5, 2.2], strict=False
    ):
        factories.measurement(at=visit, of=second, cm2=area)
    page = as_staff.get(f"/lesions/{lesion.pk}/compare/?against=lesion:{second.pk}").content.decode()
    assert "interval" in page
    stranger = factories.lesion(on=factories.limb(of=factories.person(at=site)))
    factories.series(stranger, [3.0, 2.0, 1.0])
    assert as_staff.get(f"/lesions/{lesion.pk}/compare/?against=lesion:{stranger.pk}").status_code == 422


def test_different_methods_are_compared_with_a_warning(as_staff, lesion):
    second = factories.lesion(on=lesion.limb)
    for visit, area in zip(
        lesion.limb.person.visits.order_by("visited_on"), [3.0, 2.8, 2.5, 2.2], strict=False
    ):
        factories.measurement(
            at=visit, of=second, cm2=area, method="ellipse", length_mm=30, width_mm=round(area * 4)
        )
    page = as_staff.get(f"/lesions/{lesion.pk}/compare/?against=lesion:{second.pk}").content.decode()
    assert "different methods" in page


def test_a_lesion_with_nothing_to_compare_says_so(as_staff, person):
    lesion = factories.lesion(on=factories.limb(of=person))
    assert "Nothing to compare yet" in as_staff.get(f"/lesions/{lesion.pk}/compare/").content.decode()


def test_all_lesions_of_a_person_stand_side_by_side_with_their_numbers(as_staff, lesion):
    person = lesion.limb.person
    page = as_staff.get(f"/people/{person.pk}/curves/").content.decode()
    assert "4.00 cm²" in page
    assert "1.60 cm²" in page
    svg = as_staff.get(f"/people/{person.pk}/curves.svg")
    assert b"A: " in svg.content
    assert (
        as_staff.get(f"/people/{person.pk}/curves.svg", headers={"If-None-Match": svg["ETag"]}).status_code
        == 304
    )


def test_a_person_without_areas_is_told_how_to_start(as_staff, person):
    assert "Log a visit" in as_staff.get(f"/people/{person.pk}/curves/").content.decode()
    assert b"No area measured yet" in as_staff.get(f"/people/{person.pk}/curves.svg").content


def test_a_picture_drawn_by_other_code_or_another_library_has_another_key(tmp_path, monkeypatch):
    for name in ("a", "b"):
        (tmp_path / name / "charts").mkdir(parents=True)
        (tmp_path / name / "charts" / "axis.py").write_text("TICKS = 5\n")
    first, same = curves.code_hash(tmp_path / "a"), curves.code_hash(tmp_path / "b")
    assert first == same
    (tmp_path / "b" / "charts" / "axis.py").write_text("TICKS = 6\n")
    curves.code_hash.cache_clear()
    assert curves.code_hash(tmp_path / "a") == first
    assert curves.code_hash(tmp_path / "b") != first
    key = curves.content_key("told")
    assert curves.content_key("told") == key
    monkeypatch.setattr(curves, "version", lambda name: "another")
    curves.code_hash.cache_clear()
    assert curves.content_key("told") != key
    curves.code_hash.cache_clear()
