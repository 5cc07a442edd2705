"""Sheets of a plan that the caller hands over: right type, the code only as name, kept by no cache."""

from __future__ import annotations

import io

import ezdxf
import pytest
from django.http import Http404
from django.utils import timezone

from clinic.relief.views import answers as sheets
from offload.core.plan.specfile import spec_from
from offload.plans import keeping as plans

pytestmark = pytest.mark.django_db


@pytest.fixture
def plan():
    spec = {
        "side": "left",
        "foot_length_mm": 260,
        "foot_width_mm": 98,
        "body_weight_kg": 82,
        "lesions": [{"label": "A", "centre_mm": [10, 180], "length_mm": 14, "width_mm": 10}],
    }
    return plans.plan_create(spec=spec_from(spec), made_by="P. Odiatrist", at=timezone.now())


def test_a_pdf_is_named_by_the_code_alone(plan):
    answer = sheets.sheet_pdf(plan, "a4")
    assert answer.content.startswith(b"%PDF")
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == f'attachment; filename="{plan.code}-a4.pdf"'
    assert answer["Cache-Control"] == "private, no-store"


@pytest.mark.parametrize("paper", ["a3", "letter"])
def test_every_paper_has_its_sheet(plan, paper):
    assert sheets.sheet_pdf(plan, paper).content.startswith(b"%PDF")


def test_an_unknown_paper_is_not_there(plan):
    with pytest.raises(Http404):
        sheets.sheet_pdf(plan, "A4 ")


def test_the_dxf_reads_back_in_mm_with_its_layers(plan):
    answer = sheets.sheet_dxf(plan)
    document = ezdxf.read(io.StringIO(answer.content.decode()))
    assert document.units == ezdxf.units.MM
    assert {"OUTLINE", "CUT_MIDDLE_TOP", "CUT_MIDDLE_FLOOR"} <= {layer.dxf.name for layer in document.layers}
    assert answer["Content-Disposition"] == f'attachment; filename="{plan.code}.dxf"'


def test_the_svg_is_in_mm_and_warns_until_signed(plan):
    answer = sheets.sheet_svg(plan)
    assert answer["Content-Type"] == "image/svg+xml"
    text = answer.content.decode()
    assert 'mm" viewBox="' in text
    assert "NOT SIGNED" in text
    assert "style=" not in text
    assert "P. Odiatrist" not in text
