"""Every intake of text refuses the whole corpus in words: no fault of the program, nothing stored."""

import json
import re
import time
from contextlib import suppress

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.core.signals import request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from django.test import RequestFactory
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from clinic.capture.forms.trace import PointsField, RingsField
from clinic.capture.writes.measurement import outline_planimetry, outline_read
from clinic.models import Imprint, MeasuredMap, Photo, PhotoConsent, PhotoScale, Trace, Visit
from clinic.record.errors import Refused
from clinic.visits.forms.measurement import OutlineField
from offload.core.intake import Bounds, IntakeError, csv_rows, json_value, number_of, points_of, text_of
from offload.core.pressure.measured import GRID, GridError, read_grid
from tests import factories
from tests.clinic.fields.cases_lesions import photographed, scale_of
from tests.clinic.fields.scenes import traced

from .hostile import HOSTILE, LARGE, SMALL

CELLS = {"cell": (5.0, 5.0), "unit": "kPa", "kind": "peak"}
BOUNDS = Bounds(characters=100_000, values=10_000)
#: These are no fault of what they are: the reader of points or numbers behind the parser refuses them.
WELL_FORMED_JSON = {
    "booleans.json",
    "crossing.json",
    "empty_object.json",
    "empty_parts.json",
    "far.json",
    "line.json",
    "nulls.json",
    "number.json",
    "object.json",
    "one_point.json",
    "parts_40.json",
    "repeated.json",
    "strings.json",
    "surrogate.json",
    "three_numbers.json",
}


def text(content):
    return content.decode("utf-8", errors="replace")


@pytest.mark.parametrize("name", [name for name in HOSTILE if name.endswith(".json")])
def test_json_is_refused_before_or_while_it_is_parsed(name):
    if name in WELL_FORMED_JSON:
        json_value(text(HOSTILE[name]), BOUNDS)
        return
    with pytest.raises(IntakeError) as fault:
        json_value(text(HOSTILE[name]), BOUNDS)
    assert len(str(fault.value)) < 120


@pytest.mark.parametrize("name", [name for name in HOSTILE if name.endswith(".csv")])
def test_a_table_that_is_no_grid_is_refused_in_words(name):
    with pytest.raises((GridError, IntakeError)) as fault:
        read_grid(text_of(HOSTILE[name], GRID), **CELLS)
    assert len(str(fault.value)) < 160


@pytest.mark.parametrize("name", HOSTILE)
def test_no_reader_fails_otherwise_than_by_its_own_refusal(name):
    given_text = text(HOSTILE[name])
    for read, refusal in (
        (lambda: read_grid(given_text, **CELLS), GridError),
        (lambda: csv_rows(given_text, BOUNDS), IntakeError),
        (lambda: points_of(given_text, 6000), IntakeError),
        (lambda: outline_planimetry(outline_read(given_text)), Refused),
        (lambda: OutlineField().clean(given_text), ValidationError),
        (lambda: RingsField().clean(given_text), ValidationError),
        (lambda: PointsField(label="Marks").clean(given_text), ValidationError),
    ):
        with suppress(refusal):
            read()


@pytest.mark.parametrize("name", LARGE)
def test_what_is_too_much_is_refused_by_its_count_and_at_once(name):
    given_text = text(LARGE[name])
    began = time.process_time()
    for field in (RingsField(), OutlineField(), PointsField(label="Marks")):
        with suppress(ValidationError):
            field.clean(given_text)
    with pytest.raises(GridError):
        read_grid(given_text, **CELLS)
    assert time.process_time() - began < 1.0


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(given_text):
    for read in (
        lambda: json_value(given_text, BOUNDS),
        lambda: csv_rows(given_text, BOUNDS),
        lambda: points_of(given_text, 50),
        lambda: number_of(given_text),
    ):
        with suppress(IntakeError):
            read()


@given(st.recursive(st.floats(-1e9, 1e9) | st.integers(-(10**9), 10**9), st.lists, max_leaves=20))
def test_what_is_within_bounds_is_read_as_it_stands(value):
    assert json_value(json.dumps(value), Bounds(10_000, 1000, depth=99)) == value


@given(st.floats(-1e9, 1e9))
def test_a_number_is_read_as_it_is_written(value):
    assert number_of(repr(value)) == value


# --- through the pages ------------------------------------------------------------------------------------


@pytest.fixture
def scene(person, settings, tmp_path):
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(tmp_path), "base_url": None},
        },
    }
    factories.weight(of=person, kg=82)
    limb = factories.limb(of=person)
    lesion = factories.lesion(on=limb, place="mth_2")
    PhotoConsent.objects.create(person=person, given_on=timezone.localdate(), created_by=factories.author())
    return limb, lesion


def visit(lesion, content):
    return {
        "submission_key": "5f0c2f9e-5f5c-4a53-a9c8-3d0a3b8f4c11",
        "visited_on": timezone.localdate().isoformat(),
        "red_flags": ["none"],
        "next_in_7": "on",
        f"lesion-{lesion.pk}-outline": content,
        f"lesion-{lesion.pk}-debridement": "before",
    }


def grid(content, **more):
    return {
        "kind": "peak",
        "unit": "kPa",
        "cell_across": "5",
        "cell_along": "5",
        "action": "look",
        **more,
        **({"grid": content} if isinstance(content, str) else {"file": content}),
    }


#: Broken encoding, broken numbers, too deep, too much.
NASTIEST = ("nul.csv", "surrogate.json", "deep.json", "digits_400.txt", "field_200000.csv")


def sentence(read, content):
    """How a reader's sentence about a text begins, without its numbers: to a page those are one case."""
    try:
        read(content)
    except (Refused, GridError, IntakeError) as refused:
        said = str(getattr(refused, "message", refused))
    except ValidationError as refused:
        said = " ".join(refused.messages)
    else:
        return "read"
    return " ".join(re.findall(r"[a-zA-Z]+", said)[:5])


def one_of_each(read):
    """One text for each thing a reader says: the smallest, for a page draws it again."""
    found = {}
    for name, content in sorted(HOSTILE.items(), key=lambda one: len(one[1])):
        found.setdefault(sentence(read, content), name)
    found.pop("read", None)  # a text that is fine is no case of this sweep
    return list(found.values())


def addresses(scene, by):
    """Every address that takes a text or a file: how it is sent there, the reader behind it, and how much of
    the corpus it gets. Each reader gets all of it, or one text for each thing it says, at one address, the
    smallest answer first; the other pages of that reader, each drawn whole again, get the nastiest few.
    """
    limb, lesion = scene
    site, person = limb.person.site, limb.person.pk
    photo = photographed(site, by)
    scale = reverse("trace_new", args=[scale_of(photo, by).pk])
    maps, marks = f"/limbs/{limb.pk}/maps/", reverse("photo_scale", args=[photo.pk])
    imprint = traced(lesion).scale
    Photo.objects.filter(pk=imprint.photo_id).update(subject="insole")
    place = reverse("imprint_place", args=[imprint.pk])
    head = f"lesion-{lesion.pk}-"
    ring = OutlineField().clean
    cells = lambda content: read_grid(text_of(content, GRID), **CELLS)  # noqa: E731
    of_text = lambda clean: lambda content: clean(text(content))  # noqa: E731

    def picture(content):
        return SimpleUploadedFile("wound.png", content)

    return {
        # (address, what is sent, the corpus it gets)
        "visit check": (
            f"{reverse('visit_check', args=[person])}?lesion={lesion.pk}",
            lambda c: visit(lesion, text(c)),
            one_of_each(of_text(ring)),
        ),
        "outline check": (f"{scale}check/", lambda c: {"outline": text(c)}, HOSTILE),
        "marks check": (
            f"{marks}check/",
            lambda c: {"reference": "ruler", "distance_mm": "25", "marks": text(c)},
            HOSTILE,
        ),
        "visit": (
            reverse("visit_new", args=[person]),
            lambda c: visit(lesion, text(c)),
            NASTIEST,
        ),
        "visit photo": (
            reverse("visit_new", args=[person]),
            lambda c: {**visit(lesion, ""), f"{head}photo": picture(c)},
            NASTIEST,
        ),
        "outline": (
            scale,
            lambda c: {"outline": text(c), "submission_key": "5f0c2f9e-5f5c-4a53-a9c8-3d0a3b8f4c12"},
            NASTIEST,
        ),
        "marks": (
            marks,
            lambda c: {"reference": "ruler", "distance_mm": "25", "marks": text(c)},
            NASTIEST,
        ),
        "photo": (
            reverse("photo_new", args=[lesion.pk]),
            lambda c: {"photo": picture(c), "taken_on": timezone.localdate().isoformat()},
            NASTIEST,
        ),
        "imprint": (
            place,
            lambda c: {"placed_by": "landmarks", "marks": text(c)},
            NASTIEST,
        ),
        "grid, typed": (maps, lambda c: grid(text(c)), one_of_each(cells)),
        "grid, file": (maps, lambda c: grid(SimpleUploadedFile("grid.csv", c)), NASTIEST),
        "bench": (
            f"/limbs/{limb.pk}/bench/",
            lambda c: {f"l{lesion.pk}-outline": text(c), "action": "save"},
            NASTIEST,
        ),
    }


class Door:
    """The program as a server calls it, signed in: without what a test's client copies of every template."""

    def __init__(self, client):
        token = "a" * 32
        cookies = {name: one.value for name, one in client.cookies.items()} | {"csrftoken": token}
        sent = "; ".join(f"{name}={value}" for name, value in cookies.items())
        self.requests = RequestFactory(headers={"Cookie": sent, "X-CSRFToken": token})
        self.program = get_wsgi_application()

    def post(self, url, data):
        said = []
        request_started.disconnect(close_old_connections)  # it would end the test's own transaction
        answer = self.program(
            self.requests.post(url, data).environ, lambda status, heads: said.append(status)
        )
        body = b"".join(answer)
        request_started.connect(close_old_connections)
        return int(said[0].split()[0]), body


@pytest.mark.django_db
def test_no_address_answers_the_corpus_with_a_fault_and_none_of_it_is_kept(
    as_podiatrist, podiatrist, scene, capsys
):
    sent = addresses(scene, podiatrist)
    kept = (Visit, MeasuredMap, Trace, Imprint, Photo, PhotoScale)
    before = [model.objects.count() for model in kept]
    answers, door = dict.fromkeys(sent, 0), Door(as_podiatrist)
    for address, (url, data, names) in sent.items():
        for name in names:
            status, body = door.post(url, data(HOSTILE[name]))
            answers[address] += 1
            assert status in (200, 400, 422), (name, url, status)
            assert body
    assert min(answers.values()) >= len(NASTIEST)
    assert sum(answers.values()) > 2 * len(HOSTILE) + 40
    assert [model.objects.count() for model in kept] == before
    with capsys.disabled():
        print(f"\n{len(HOSTILE)} texts, {sum(answers.values())} answers over HTTP, 0 faults: {answers}")


# --- the commands -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "command", ["relief_plan", "device_advice", "limb_grades", "healing_report", "survival_report"]
)
def test_a_command_refuses_each_file_with_status_2_and_prints_nothing(command, tmp_path, capsys):
    for name, content in HOSTILE.items():
        if (command, name) == ("device_advice", "empty_object.json"):
            continue  # no fact at all is a foot of which nothing is known: that has an advice
        file = tmp_path / name
        file.write_bytes(content)
        with pytest.raises(SystemExit) as ended:
            call_command(command, str(file))
        said = capsys.readouterr()
        assert ended.value.code == 2, name
        assert not said.out, name
        assert said.err.strip(), name
        assert "Traceback" not in said.err, name


def test_a_corpus_is_kept():
    assert len(SMALL) >= 60
    assert all(len(content) < 20_000 for content in SMALL.values())
