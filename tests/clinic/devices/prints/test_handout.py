"""The paper says what fits this person: laws over every device, site and mobility, and tables of cases."""

import re
from datetime import date, timedelta

import pytest

from clinic.devices.prints.handout import after_the_signs, compose, emergency_signs, paper_faults
from clinic.devices.prints.signs import CALL_SIGNS, EMERGENCY_SIGNS_TOLD, NO_CUTTING
from clinic.guidelines.devices import DEVICES, NON_REMOVABLE
from clinic.guidelines.emergency import EMERGENCY_SIGNS
from clinic.guidelines.sites import SITES
from clinic.guidelines.wearer import PaperDates, PaperNumbers, Wearer, spot_of
from tests.clinic.devices.prints.family import wearers
from tests.clinic.devices.prints.reading_ease import grade, syllables

WALKER, CAST = "walker_knee_high_removable", "total_contact_cast"
DAY = date(2026, 11, 30)
NUMBERS = PaperNumbers(emergency="112", in_hours="000 1000", out_of_hours="000 2000")
HARDEST_GRADE = 6.0
LONGEST_SENTENCE = 18  # words, design choice


def said(**facts):
    return " ".join(str(line) for line in compose(Wearer(**facts)).sentences)


@pytest.fixture(scope="module")
def sheets():
    """Every wearer of the family with the lines of the sheet, composed once."""
    return [(who, tuple(str(line) for line in compose(who).sentences)) for who in wearers()]


def faults_of(who, lines):
    """Which laws one sheet breaks."""
    text = " ".join(lines)
    laws = {
        "no walking told to who does not walk": who.mobility == "does_not_walk"
        and re.search(r"\b(walk|step|stick|frame|barefoot|stand)", text),
        "no step told to who only transfers": who.mobility == "transfers_only"
        and re.search(r"\b(every step|each step|stick|frame|walk)\b", text),
        "heel pushed down under a sore heel": "heel" in who.spots and "Push the heel" in text,
        "straps over a sore on the top": "top" in who.spots and "close the straps" in text,
        "a shoe on an ulcerated other foot": who.other_foot == "ulcerated" and "which shoe" in text,
        "the other foot of who has none": who.other_foot == "gone" and "other foot" in text,
        "Charcot joints sleep without it": who.charcot
        and who.device.wear == "comes_off"
        and ("about the night" in text or "in bed too" not in text or "put it on before" in text),
        "cutting allowed": re.search(r"\bcut\b", text.replace(str(NO_CUTTING), "").replace("Do not cut", "")),
        "no word against cutting": who.device.stays_on and str(NO_CUTTING) not in text,
        "how much to walk told as a rule": "as little as" in text,
        "driving told as a rule": "until you have asked us" not in text,
        "an infected sore told to be clean": who.infected is True and "needs no antibiotics" in text,
        "not infected, and not told": who.infected is False and "needs no antibiotics" not in text,
        "no reason why": "takes the pressure off" not in text,
    }
    daily = {
        f"no word on {word}": f"{word}:" not in text for word in ("Wash", "Toilet", "Pain", "Work", "Driving")
    }
    return [law for law, broken in {**laws, **daily}.items() if broken]


def test_every_sheet_of_the_family_fits_its_person(sheets):
    wrong = {}
    for who, lines in sheets:
        for fault in faults_of(who, lines):
            wrong.setdefault(fault, who)
    assert len(sheets) > 10_000
    assert not wrong


def test_every_sheet_of_the_family_is_easy_to_read(sheets):
    grades, longest = {}, {}
    for _, lines in sheets:
        if lines not in grades:
            grades[lines] = grade(list(lines))
            for line in lines:
                for part in re.split(r"[.:](?:\s|$)", line):
                    longest[part] = len(part.split())
    assert max(grades.values()) <= HARDEST_GRADE, max(grades.items(), key=lambda one: one[1])
    assert max(longest.values()) <= LONGEST_SENTENCE, max(longest.items(), key=lambda one: one[1])


def test_the_measure_of_reading_is_the_published_formula():
    for word, count in {
        "sore": 1,
        "device": 2,
        "opened": 2,
        "closed": 1,
        "ambulance": 3,
        "needed": 2,
        "little": 2,
        "bandages": 3,
        "shoes": 1,
        "ulcers": 2,
        "antibiotics": 5,
        "pressure": 2,
        "toes": 1,
        "wire": 1,
        "dresses": 2,
    }.items():
        assert syllables(word) == count, word
    assert grade(["The cat sat on the mat."]) == pytest.approx(0.39 * 6 + 11.8 * 1 - 15.59)
    hard = [
        "Non-adherence to irremovable knee-high offloading modalities delays epithelialisation considerably."
    ]
    assert grade(hard) > 12


@pytest.mark.parametrize(
    ("facts", "words", "never"),
    [
        (
            {"places": ("heel_central",), "device_class": "heel_relieving_knee_high"},
            "heel must hang free",
            "Push the heel",
        ),
        (
            {"places": ("heel_posterior",), "device_class": WALKER},
            "Nothing may rub the heel",
            "Push the heel",
        ),
        (
            {"places": ("dorsum",), "device_class": "dorsum_free_device"},
            "Close no strap over the sore",
            "close the straps",
        ),
        ({"places": ("mth_1",), "device_class": WALKER}, "close the straps from the foot up", "hang free"),
        ({"places": (), "device_class": WALKER}, "the way we showed you", "Push the heel"),
        ({"other_foot": "ulcerated", "device_class": WALKER}, "sore on the other foot too", "legs are level"),
        ({"other_foot": "sound", "device_class": WALKER}, "legs are level", "sore on the other foot"),
        ({"charcot": True, "device_class": WALKER}, "in bed too", "about the night"),
        ({"charcot": None, "device_class": WALKER}, "Ask us about the night", "to sleep"),
        ({"mobility": "does_not_walk", "device_class": WALKER}, "no footplate", "stick"),
        ({"mobility": "walks_with_aid", "device_class": CAST}, "Use your stick or frame", "footplate"),
        ({"mobility": "transfers_only", "device_class": WALKER}, "each time you stand up", "for every step"),
        ({"infected": False, "device_class": CAST}, "needs no antibiotics", "Ask us before you stop"),
        ({"infected": True, "device_class": CAST}, "Ask us before you stop", "needs no antibiotics"),
        ({"device_class": CAST}, "a hospital or an ambulance crew", "has to come off"),
    ],
)
def test_the_sheet_is_composed_from_the_person_s_facts(facts, words, never):
    text = said(**facts)
    assert words in text
    assert never not in text


@pytest.mark.parametrize("device", DEVICES)
def test_the_sheet_carries_the_one_list_of_signs_and_says_who_opens(device):
    sheet = compose(Wearer(device_class=device))
    assert sheet.emergency == emergency_signs()
    assert sheet.call == CALL_SIGNS
    assert sheet.after_call == after_the_signs(stays_on=device in NON_REMOVABLE)


def test_every_emergency_sign_is_told_to_the_person():
    assert list(EMERGENCY_SIGNS_TOLD) == [sign.id for sign in EMERGENCY_SIGNS]
    assert all(EMERGENCY_SIGNS_TOLD.values())


def test_every_site_has_its_spot():
    heels = {place for place in SITES if spot_of(place) == "heel"}
    assert heels == {one for one in SITES if one.startswith("heel_")}
    assert {spot_of(place) for place in SITES} == {"heel", "top", "between", "side", "sole"}


def test_a_paper_is_refused_with_a_sentence_where_a_day_is_past_or_a_number_missing():
    future = DAY + timedelta(days=7)
    assert paper_faults(PaperDates(today=DAY), NUMBERS) == ()
    for name in ("open_by", "next_on"):
        for days, refused in ((-1, True), (0, False), (7, False)):
            dates = PaperDates(
                **{"today": DAY, "open_by": future, "next_on": future, name: DAY + timedelta(days=days)}
            )
            faults = paper_faults(dates, NUMBERS)
            assert bool(faults) is refused, (name, days)
            if refused:
                assert "29 Nov 2026 is past" in faults[0]
    for name, words in (
        ("emergency", "national emergency number"),
        ("in_hours", "in hours"),
        ("out_of_hours", "out of hours"),
    ):
        for empty in ("", "  "):
            numbers = PaperNumbers(**{**vars(NUMBERS), name: empty})
            (fault,) = paper_faults(PaperDates(today=DAY), numbers)
            assert words in fault
    (fault,) = paper_faults(PaperDates(today=DAY, stopped_on=DAY), NUMBERS)
    assert "stopped on 30 Nov 2026" in fault
