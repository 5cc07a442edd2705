"""No page shows a chance of closing without how such chances have fared; all take it from one door."""

import html
import re
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from clinic.healing.fared import OwnCounts
from clinic.healing.own import Own
from clinic.healing.recalibration import VERSION, CalibrationLine, Tails
from clinic.healing.shown import own_row
from clinic.models import Prescription, Recalibration
from tests import factories

AGO = lambda days: timezone.localdate() - timedelta(days=days)  # noqa: E731
CLINIC = settings.BASE_DIR / "clinic"
#: Pages that hold chances against what happened: they are that count, wound by wound.
COUNTING = {"templates/audit/forecasts.html"}
#: A figure after the word, in one sentence.
CHANCE = re.compile(
    r"(?:[Cc]hance of (?:closing|healing)|[Cc]losure within \d+ weeks)[^.]{0,60}?"
    r"(?:\d+ %|under 1 %|over 99 %|cannot be told yet)"
)
FARED = re.compile(r" \(of \d+ (?:told \d+ to \d+ %|ulcers with as many of three marks)")
COURSES = {
    "falls": [4.0, 3.2, 2.5, 1.9, 1.4, 0.9, 0.5],
    "slow": [4.0, 3.9, 3.7, 3.6, 3.4, 3.3, 3.1],
    "even": [4.0, 3.7, 3.3, 3.0, 2.6, 2.3, 1.9],
    "grows": [2.0, 2.3, 2.6, 3.0, 3.4, 3.9, 4.4],
    "two": [3.0, 2.8],
    "one": [3.0],
}


def ulcer(site, areas, *, last=1, **fields):
    found = factories.lesion(
        on=factories.limb(of=factories.person(at=site)),
        first_seen_on=AGO(7 * (len(areas) - 1) + last),
        **fields,
    )
    factories.series(found, areas, last=AGO(last))
    return found


def own_figures_made(site, *, level=-1.0, pairs=((4, 25),) * 10, tails=(0.1, 0.9)):
    counts = OwnCounts(pairs, pairs, pairs)
    own = Own(AGO(3), VERSION, CalibrationLine(level, 1.0, 60), Tails(*tails, 0.1, 60, 40), counts)
    return Recalibration.objects.create(site=site, made_on=AGO(3), method=VERSION, figures=own_row(own))


def pages_of(lesion):
    limb, person = lesion.limb, lesion.limb.person
    device = factories.prescription(of=limb, lesions=[lesion], device_class="ankle_high_removable")
    return [
        reverse("lesion", args=[lesion.pk]),
        reverse("lesion_chart", args=[lesion.pk]),
        reverse("lesion_compare", args=[lesion.pk]),
        reverse("non_healing_new", args=[lesion.pk]),
        reverse("person_curves", args=[person.pk]),
        reverse("person_curves_chart", args=[person.pk]),
        reverse("person", args=[person.pk]),
        reverse("prescription_new", args=[limb.pk]),
        reverse("prescription", args=[device.pk]),
        reverse("limb_decisions", args=[limb.pk]),
        reverse("visit_new", args=[person.pk]),
        reverse("clinic_preparation"),
        reverse("today"),
        reverse("review"),
    ]


def words(body):
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]*>", " ", body)))


def bare_chances(text):
    """Chances in a text that are not followed at once by how such chances have fared."""
    return [m.group() for m in CHANCE.finditer(text) if not FARED.match(text, m.end())]


@pytest.mark.parametrize("own", [False, True])
def test_no_page_shows_a_chance_without_how_such_chances_fared(as_podiatrist, site, own):
    if own:
        own_figures_made(site)
    shown = 0
    for name, areas in COURSES.items():
        for page in pages_of(ulcer(site, areas)):
            answer = as_podiatrist.get(page)
            if answer.status_code != 200:
                continue
            text = words(answer.content.decode())
            if page.endswith(".svg") or "chart" in page:
                assert not re.search("[Cc]losure within", text), (name, page)
                continue
            shown += len(CHANCE.findall(text))
            assert bare_chances(text) == [], (name, page)
    assert shown > 20, "the sweep has to see chances"


@pytest.mark.parametrize("name", COURSES)
def test_the_page_of_an_ulcer_tells_the_chance_of_closure_once(as_podiatrist, site, name):
    page = as_podiatrist.get(reverse("lesion", args=[ulcer(site, COURSES[name]).pk])).content.decode()
    told = len(COURSES[name]) > 2
    assert words(page).count("losure within 8 weeks:") == told
    verdict = page[page.index('class="verdict"') :]
    assert ("Closure within 8 weeks:" in verdict[: verdict.index("</p>")]) == told


def test_the_sweep_tells_a_bare_chance():
    assert bare_chances("Closure within 8 weeks: 71 %, under a half.")
    assert not bare_chances("Closure within 8 weeks: 71 % (of 100 told 70 to 80 %, 74 closed)")


def test_only_pages_that_count_print_a_chance_by_themselves():
    printing = {
        path.relative_to(settings.BASE_DIR).as_posix()
        for path in Path(settings.BASE_DIR / "templates").rglob("*.html")
        if re.search(r"chance_(?:next_8w|12w|20w)", path.read_text())
    }
    assert printing <= COUNTING | {"templates/devices/_record.html"}


def test_rooms_take_forecasts_from_one_door():
    door = re.compile(r"\b(?:forecast_many|lesion_report|lesion_reports|recalibrated|forecast)\(")
    outside = {
        path.relative_to(CLINIC).as_posix()
        for path in CLINIC.rglob("*.py")
        if "healing/" not in path.relative_to(CLINIC).as_posix().removeprefix("curves/reads/")
        and door.search(path.read_text())
    }
    assert outside <= {"curves/reads/healing.py", "management/commands/healing_report.py"}


def test_own_figures_move_every_page_alike(as_podiatrist, site):
    lesion = ulcer(site, COURSES["slow"])
    pages = [
        reverse("lesion", args=[lesion.pk]),
        reverse("prescription_new", args=[lesion.limb_id]),
        reverse("review"),
    ]

    def told():
        found = [
            re.findall(
                r"(under 1 %|\d+ %|cannot be told yet) \(of (\d+) told",
                words(as_podiatrist.get(p).content.decode()),
            )
            for p in pages
        ]
        return [one[0] for one in found]

    before = told()
    assert len(set(before)) == 1
    own_figures_made(site)
    after = told()
    assert len(set(after)) == 1
    assert after[0][1] == "25", "the clinic's own count stands in place of the simulated one"
    assert after != before
    page = words(as_podiatrist.get(pages[0]).content.decode())
    assert "by this clinic's own figures of" in page


def test_figures_of_one_clinic_move_no_other(as_podiatrist, site, other_site):
    lesion = ulcer(site, COURSES["falls"])
    page = reverse("lesion", args=[lesion.pk])
    before = words(as_podiatrist.get(page).content.decode())
    own_figures_made(other_site)
    assert re.findall(
        r"Closure within[^.]*\.", words(as_podiatrist.get(page).content.decode())
    ) == re.findall(r"Closure within[^.]*\.", before)


def test_even_odds_are_not_told(as_podiatrist, site):
    lesion = ulcer(site, COURSES["even"])
    own_figures_made(site, level=0.0, pairs=())
    page = words(as_podiatrist.get(reverse("lesion", args=[lesion.pk])).content.decode())
    chances = re.findall(r"(\d+) % \(of 100 told", page)
    assert all(not 37 < int(chance) < 63 for chance in chances)


def test_a_chart_is_drawn_anew_when_the_own_figures_change(as_podiatrist, site):
    lesion = ulcer(site, COURSES["falls"])
    chart = reverse("lesion_chart", args=[lesion.pk])
    before = as_podiatrist.get(chart)
    own_figures_made(site, tails=(0.3, 0.7))
    after = as_podiatrist.get(chart)
    assert before["ETag"] != after["ETag"]
    assert before.content != after.content


def test_what_was_shown_with_a_decision_keeps_its_figures_and_their_version(as_podiatrist, site):
    lesion = ulcer(site, COURSES["falls"])
    url = reverse("prescription_new", args=[lesion.limb_id])
    seen = re.search(r'name="seen" value="([0-9a-f]{64})"', as_podiatrist.get(url).content.decode()).group(1)
    choice = {
        "device_class": "walker_knee_high_removable",
        "reason": "Perfusion is not measured yet.",
        "seen": seen,
    }
    assert as_podiatrist.post(url, choice).status_code == 302
    made = Prescription.objects.get()
    told = made.forecast_shown[lesion.label]
    assert not bare_chances(told["told"])
    page = reverse("prescription", args=[made.pk])
    as_podiatrist.get(page)  # takes the line that says it was signed
    before = words(as_podiatrist.get(page).content.decode())
    assert told["told"] in before
    assert "as the program says" in before
    own_figures_made(site)
    made.refresh_from_db()
    assert made.forecast_shown[lesion.label] == told
    assert words(as_podiatrist.get(page).content.decode()) == before
    table = words(as_podiatrist.get(reverse("review_forecasts")).content.decode())
    assert f"{round(100 * told['chance_next_8w'])} % the program" in table
    assert told["verdict"] in table


LONG = 57


@pytest.mark.parametrize("days", [LONG - 1, LONG])
def test_eight_weeks_after_the_last_area_no_page_shows_a_forecast(as_podiatrist, site, days):
    lesion = ulcer(site, COURSES["falls"], last=days)
    page = words(as_podiatrist.get(reverse("lesion", args=[lesion.pk])).content.decode())
    assert ("By 12 weeks from the first area" in page) is (days < LONG)
    device = words(as_podiatrist.get(reverse("prescription_new", args=[lesion.limb_id])).content.decode())
    assert ("closing cannot be told yet." in device) is (days >= LONG)


def test_a_gap_is_named_in_a_sentence_on_the_page(as_podiatrist, site):
    lesion = factories.lesion(on=factories.limb(of=factories.person(at=site)), first_seen_on=AGO(140))
    factories.series(lesion, [4.0, 3.5], last=AGO(120))
    factories.series(lesion, [3.0], last=AGO(3))
    page = words(as_podiatrist.get(reverse("lesion", args=[lesion.pk])).content.decode())
    assert "after a gap of 16 weeks without an area" in page
    assert "Chance of" not in page


def test_a_covered_wound_ends_the_run_and_has_no_chance(as_podiatrist, site):
    lesion = ulcer(site, COURSES["falls"], state="to_confirm", closed_on=AGO(1))
    last = lesion.measurements.order_by("-visit__visited_on").first()
    type(last).objects.filter(pk=last.pk).update(
        covered_dry=True, area_mm2=None, method="not_measured", not_measured_because="covered and dry"
    )
    page = words(as_podiatrist.get(reverse("lesion", args=[lesion.pk])).content.decode())
    assert "Chance of" not in page
    assert "covered" in page


def test_a_reopened_wound_is_a_course_of_its_own(as_podiatrist, site):
    lesion = ulcer(site, [4.0, 3.0, 2.0, 1.0, 0.5, 0.8, 0.7])
    rows = list(lesion.measurements.order_by("visit__visited_on"))
    type(rows[4]).objects.filter(pk=rows[4].pk).update(
        covered_dry=True, area_mm2=None, method="not_measured", not_measured_because="covered and dry"
    )
    page = words(as_podiatrist.get(reverse("lesion", args=[lesion.pk])).content.decode())
    assert "what opens again is a course of its own" in page
    assert "By 12 weeks from the first area" not in page
    assert "2 of at least 3 areas so far" in page
