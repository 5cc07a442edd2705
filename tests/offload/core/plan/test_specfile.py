"""Specifications are read strictly: every fault in one go, each with field, value and limit."""

import json
import math

import pytest

from offload.core.errors import SpecError
from offload.core.foam.law import packaged_foams
from offload.core.foam.stack import DEMONSTRATION_STACK, PACKAGED_FOAMS
from offload.core.plan.compute import compute
from offload.core.plan.specfile import LARGEST_FILE, read_spec, spec_from

LESION = {"label": "A", "centre_mm": [0, 180], "length_mm": 14, "width_mm": 10, "angle_deg": 30}
LEAST = {"side": "left", "foot_length_mm": 260, "body_weight_kg": 82, "lesions": [LESION]}
STACK = [
    {"role": "cover", "foam": "soft", "thickness_mm": 3},
    {"role": "middle", "foam": "medium", "thickness_mm": 6},
    {"role": "base", "foam": "firm", "thickness_mm": 6},
]
MAP = {"cell_mm": [5, 5], "origin_mm": [-10, 170], "kpa": [[100, 200], [150, 50]]}


def faults(data, **more):
    with pytest.raises(SpecError) as caught:
        compute(spec_from(data, **more))
    return [str(fault) for fault in caught.value.faults]


def test_the_least_specification_gets_the_defaults():
    spec = spec_from(LEAST)
    assert (spec.side, spec.foot_length, spec.foot_width, spec.body_weight) == ("left", 260.0, None, 82.0)
    assert (spec.margin, spec.distal_margin, spec.bevel) == (5.0, 10.0, 45.0)
    assert (spec.margin_face, spec.cut, spec.rigid_deformity) == ("floor", "auto", False)
    assert spec.stack == DEMONSTRATION_STACK
    assert spec.pressure_map is None
    assert spec.insole_outline is None
    assert spec.lesions[0].outline.area == pytest.approx(math.pi * 7 * 5, rel=1e-4)


def test_a_full_specification_is_read():
    spec = spec_from(
        {
            **LEAST,
            "foot_width_mm": 98,
            "insole_outline_mm": [[-45, 0], [45, 0], [45, 270], [-45, 270]],
            "lesions": [
                {"label": "A", "outline_mm": [[0, 180], [10, 180], [10, 190]]},
                {**LESION, "label": "B"},
            ],
            "stack": STACK,
            "margin_mm": 6,
            "distal_margin_mm": 12,
            "bevel_deg": 60,
            "margin_face": "opening",
            "cut": "middle+base",
            "rigid_deformity": True,
            "pressure_map": {**MAP, "kind": "peak"},
        }
    )
    assert spec.lesions[0].outline.area == 50.0
    assert spec.insole_outline is not None
    assert spec.pressure_map.grid().tolist() == [[100.0, 200.0], [150.0, 50.0]]
    assert (spec.cut, spec.margin_face, spec.rigid_deformity) == ("middle+base", "opening", True)


def test_null_means_absent_for_an_optional_field():
    assert spec_from(
        {**LEAST, "margin_mm": None, "stack": None, "pressure_map": None, "cut": None}
    ) == spec_from(LEAST)


def test_the_distal_margin_follows_a_larger_margin():
    assert spec_from({**LEAST, "margin_mm": 12}).distal_margin == 12.0
    assert spec_from({**LEAST, "margin_mm": 3}).distal_margin == 10.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"side": "both"}, 'side is "both"; the limit is one of left, right'),
        ({"side": 1}, "side is 1; the limit is one of left, right"),
        ({"side": None}, "side is null, and it is required; the limit is one of left, right"),
        ({"foot_length_mm": 119.9}, "foot_length_mm is 119.9; the limit is a number from 120 to 350 mm"),
        ({"foot_length_mm": 351}, "foot_length_mm is 351; the limit is a number from 120 to 350 mm"),
        ({"foot_length_mm": "260"}, 'foot_length_mm is "260"; the limit is a number from 120 to 350 mm'),
        ({"foot_width_mm": 20}, "foot_width_mm is 20; the limit is a number from 40 to 160 mm"),
        ({"body_weight_kg": -82}, "body_weight_kg is -82; the limit is a number from 20 to 300 kg"),
        ({"body_weight_kg": True}, "body_weight_kg is true; the limit is a number from 20 to 300 kg"),
        ({"body_weight_kg": math.nan}, "body_weight_kg is NaN; the limit is a number from 20 to 300 kg"),
        ({"body_weight_kg": 10**400}, "body_weight_kg is 1000"),
        ({"bevel_deg": 19}, "bevel_deg is 19; the limit is a number from 20 to 90 degrees"),
        ({"bevel_deg": 91}, "bevel_deg is 91; the limit is a number from 20 to 90 degrees"),
        ({"margin_mm": 31}, "margin_mm is 31; the limit is a number from 0 to 30 mm"),
        ({"margin_mm": -1}, "margin_mm is -1; the limit is a number from 0 to 30 mm"),
        (
            {"distal_margin_mm": math.inf},
            "distal_margin_mm is Infinity; the limit is a number from 0 to 30 mm",
        ),
        ({"distal_margin_mm": 4}, "distal_margin_mm is 4; the limit is margin_mm (5) to 30 mm"),
        ({"margin_face": "side"}, 'margin_face is "side"; the limit is one of floor, opening'),
        ({"cut": "cover"}, 'cut is "cover"; the limit is one of auto, middle, base, middle+base'),
        ({"rigid_deformity": 1}, "rigid_deformity is 1; the limit is true or false"),
        ({"colour": "red"}, "colour is an unknown field; the limit is side, foot_length_mm"),
        ({"lesions": []}, "lesions has 0 lesions; the limit is 1 to 12"),
        ({"lesions": {}}, "lesions is {}; the limit is a list of 1 to 12 lesions"),
        ({"lesions": [7]}, "lesions[0] is 7; the limit is one JSON object"),
        (
            {"lesions": [LESION, LESION]},
            'lesions[1].label is "A"; the limit is a label that no other lesion has',
        ),
        ({"lesions": [{**LESION, "label": " "}]}, 'lesions[0].label is " "; the limit is 1 to 40 printable'),
        (
            {"lesions": [{**LESION, "label": "a\nb"}]},
            'lesions[0].label is "a\\nb"; the limit is 1 to 40 printable',
        ),
        ({"lesions": [{**LESION, "label": 3}]}, "lesions[0].label is 3; the limit is 1 to 40 printable"),
        (
            {"lesions": [{**LESION, "width_mm": 15}]},
            "lesions[0].width_mm is 15; the limit is 1 to length_mm (14) mm",
        ),
        (
            {"lesions": [{**LESION, "length_mm": 0}]},
            "lesions[0].length_mm is 0; the limit is a number from 1 to 200",
        ),
        ({"lesions": [{**LESION, "depth_mm": 3}]}, "lesions[0].depth_mm is an unknown field"),
        (
            {"lesions": [{**LESION, "centre_mm": [1]}]},
            "lesions[0].centre_mm is [1]; the limit is two numbers",
        ),
        (
            {"lesions": [{"label": "A"}]},
            "lesions[0].outline_mm is missing, and it is required; the limit is outline_mm, or",
        ),
        (
            {"lesions": [{**LESION, "outline_mm": [[0, 0], [9, 0], [0, 9]]}]},
            "lesions[0].centre_mm is [0, 180]; the limit is either outline_mm or centre_mm",
        ),
        (
            {"lesions": [{"label": "A", "outline_mm": [[0, 180], [9, 189], [9, 180], [0, 189]]}]},
            "lesions[0].outline_mm crosses or touches itself at (4.50, 184.50)",
        ),
        (
            {"lesions": [{"label": "A", "outline_mm": [[0, 180], [9, None], [9, 180]]}]},
            "lesions[0].outline_mm[1] is [9, null]; the limit is two numbers from -500 to 500 mm",
        ),
        (
            {"lesions": [{"label": "A", "outline_mm": [[0, 0], [1, 1]]}]},
            "lesions[0].outline_mm has 2 points; the limit is 3",
        ),
        ({"lesions": [{**LESION, "centre_mm": [60, 180]}]}, "lesions: ulcer A lies"),
        (
            {"stack": [{**STACK[0], "foam": "hard"}, STACK[2]]},
            'stack[0].foam is "hard"; the limit is one of soft, medium, firm',
        ),
        (
            {"stack": [{**STACK[0], "thickness_mm": 0}, STACK[2]]},
            "stack[0].thickness_mm is 0; the limit is a number from 0.5 to",
        ),
        ({"stack": [STACK[0]]}, "stack has 1 layers; the limit is 2 to 4"),
        (
            {"stack": [STACK[1], STACK[2]]},
            "stack is middle, base; the limit is one cover first, 0 to 2 middles, one base last",
        ),
        (
            {"stack": [STACK[0], STACK[1]]},
            "stack is cover, middle; the limit is one cover first, 0 to 2 middles, one base last",
        ),
        (
            {"stack": [STACK[0], STACK[2]], "cut": "middle"},
            'cut is "middle"; the limit is auto or base, because',
        ),
        (
            {"insole_outline_mm": [[-45, 0], [45, 0], [45, 2700], [-45, 2700]]},
            "insole_outline_mm[2] is [45, 2700]; the limit is two numbers from -500 to 500 mm",
        ),
        (
            {"insole_outline_mm": [[-45, 0], [45, 0], [45, 100], [-45, 100]]},
            "insole_outline_mm is 100 mm long; the limit is 130 to 364 mm for a foot of 260 mm",
        ),
        (
            {"insole_outline_mm": [[-45, 50], [45, 50], [45, 300], [-45, 300]]},
            "insole_outline_mm begins at y 50 mm; the limit is 0 ± 20 mm",
        ),
        (
            {"pressure_map": {**MAP, "kind": "mean"}},
            'pressure_map.kind is "mean"; the limit is one of peak, instant',
        ),
        (
            {"pressure_map": {**MAP, "cell_mm": [0, 5]}},
            "pressure_map.cell_mm is [0, 5]; the limit is two numbers from 1 to 20",
        ),
        (
            {"pressure_map": {**MAP, "kpa": [[1, 2], [3]]}},
            "pressure_map.kpa[1] is [3]; the limit is a list of 1 to 400",
        ),
        (
            {"pressure_map": {**MAP, "kpa": [[1, -2]]}},
            "pressure_map.kpa[0][1] is -2; the limit is a number from 0 to 3000 kPa",
        ),
        (
            {"pressure_map": {**MAP, "kpa": [[0, 0]]}},
            "pressure_map.kpa is 0 everywhere; the limit is at least one cell",
        ),
        (
            {"pressure_map": {**MAP, "kind": "instant"}},
            "pressure_map: kind 'instant' carries 0.02 body weights; the limit is 0.3",
        ),
        (
            {"pressure_map": {**MAP, "origin_mm": [100, 170]}},
            "pressure_map: 100 % of the load lie on cells off the insole",
        ),
        ({"pressure_map": [1]}, "pressure_map is [1]; the limit is one JSON object"),
    ],
)
def test_one_wrong_field_gives_one_sentence(change, words):
    (fault,) = faults({**LEAST, **change})
    assert fault.startswith(words)
    assert "\n" not in fault


@pytest.mark.parametrize("field", LEAST)
def test_a_missing_required_field_is_named(field):
    (fault,) = faults({name: value for name, value in LEAST.items() if name != field})
    assert fault.startswith(f"{field} is missing, and it is required; the limit is ")


def test_all_faults_come_together():
    found = faults(
        {
            "side": "up",
            "foot_length_mm": 260,
            "margin_mm": "x",
            "lesions": [{**LESION, "centre_mm": [60, 180]}],
        }
    )
    assert [fault.split(" ")[0] for fault in found] == ["side", "body_weight_kg", "margin_mm", "lesions:"]


def test_the_packaged_foams_are_those_that_a_specification_may_name():
    assert set(packaged_foams()) == set(PACKAGED_FOAMS)


def test_three_middles_are_too_many():
    found = faults({**LEAST, "stack": [STACK[0], *[STACK[1]] * 3, STACK[2]]})
    assert found == ["stack has 5 layers; the limit is 2 to 4"]


def test_a_clinics_own_foams_can_be_allowed():
    own = {**LEAST, "stack": [{**STACK[0], "foam": "shelf-3"}, STACK[2]]}
    assert spec_from(own, foams=(*PACKAGED_FOAMS, "shelf-3")).stack[0].foam == "shelf-3"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"{", "file is broken JSON at line 1 column 2"),
        (b"", "file is broken JSON at line 1 column 1"),
        (b"\xff\xfe{", "file is not UTF-8 at byte 0"),
        (b"[]", "file is []; the limit is one JSON object"),
        (b"null", "file is null; the limit is one JSON object"),
        (b"[" * 100_000, "file holds a number or a nesting too long to read"),
        (b"1" * 10_000, "file holds a number or a nesting too long to read"),
        (b" " * (LARGEST_FILE + 1), "file has 2000001 bytes; the limit is 2000000 bytes (2 MB)"),
    ],
)
def test_a_file_that_is_no_specification_is_refused(text, words):
    with pytest.raises(SpecError) as caught:
        read_spec(text)
    assert len(caught.value.faults) == 1
    assert str(caught.value.faults[0]).startswith(words)


def test_a_field_given_twice_is_refused():
    text = json.dumps(LEAST).replace('"side": "left"', '"side": "left", "side": "right"')
    with pytest.raises(SpecError, match='"side" is given twice'):
        read_spec(text.encode())


def test_a_number_that_overflows_is_refused():
    text = json.dumps(LEAST).replace("82", "1e999")
    with pytest.raises(
        SpecError, match="body_weight_kg is Infinity; the limit is a number from 20 to 300 kg"
    ):
        read_spec(text.encode())
