"""The picture: an even ramp, a readable file, lines where the field has their value."""

import io
import math

import numpy as np
import pytest
from PIL import Image

from offload.core.pressure.limits import pressure_limits
from offload.core.sheets.pressure_image import COLOURS, RAMP, contour_lines, palette_png, scale_top


def luminance(colour):
    """CIE lightness L* of an sRGB colour (IEC 61966-2-1)."""
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in (c / 255 for c in colour)]
    y = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y


def test_the_ramp_darkens_by_even_steps_so_that_it_reads_in_greyscale():
    lightness = np.array([luminance(colour) for colour in RAMP])
    assert len(RAMP) == COLOURS
    assert lightness[0] > 90
    assert lightness[-1] < 25
    steps = -np.diff(lightness[::16])
    assert steps.min() > 0
    assert steps.max() < 1.6 * steps.min()


def test_the_file_holds_the_field_toes_above():
    field = np.array([[0.0, 100.0], [200.0, 400.0]])
    shown = np.array([[True, True], [True, False]])
    image = Image.open(io.BytesIO(palette_png(field, shown, 400.0))).convert("RGBA")
    assert image.size == (2, 2)
    assert image.getpixel((0, 1)) == (*RAMP[0], 255)
    assert image.getpixel((0, 0)) == (*RAMP[round(254 / 2)], 255)
    assert image.getpixel((1, 0))[3] == 0
    mirrored = Image.open(io.BytesIO(palette_png(field, shown, 400.0, mirrored=True))).convert("RGBA")
    assert mirrored.getpixel((1, 1)) == image.getpixel((0, 1))


def test_equal_fields_give_equal_bytes_and_one_scale_serves_both():
    field = np.random.default_rng(1).uniform(0, 333, (40, 30))
    shown = np.ones(field.shape, dtype=bool)
    assert palette_png(field, shown, 350.0) == palette_png(field.copy(), shown, 350.0)
    assert scale_top(field, field / 2) == 350.0
    low = scale_top(field / 10)
    assert pressure_limits().peak_elsewhere < low <= pressure_limits().peak_elsewhere + 50.0
    assert low % 50.0 == 0.0


def test_the_line_of_a_cone_is_a_circle():
    x = y = np.linspace(-30, 30, 61)
    values = 100.0 - np.hypot(*np.meshgrid(x, y))
    lines = contour_lines(x, y, values, 80.0)
    assert len(lines) == 1
    assert lines[0][0] == lines[0][-1]
    for at in lines[0]:
        assert math.hypot(*at) == pytest.approx(20.0, abs=0.03)


def test_two_hills_have_two_lines_and_a_hill_at_the_edge_is_closed():
    x, y = np.arange(40.0), np.arange(20.0)
    gx, gy = np.meshgrid(x, y)
    values = 300 * np.exp(-((gx - 8) ** 2 + (gy - 10) ** 2) / 20) + 300 * np.exp(
        -((gx - 39) ** 2 + (gy - 10) ** 2) / 20
    )
    lines = contour_lines(x, y, values, 200.0)
    assert len(lines) == 2
    assert all(line[0] == line[-1] for line in lines)


def test_a_field_below_the_level_has_no_line_and_random_fields_have_closed_ones():
    x, y = np.arange(12.0), np.arange(9.0)
    assert contour_lines(x, y, np.full((9, 12), 10.0), 200.0) == ()
    for seed in range(20):
        values = np.random.default_rng(seed).uniform(0, 400, (9, 12))
        lines = contour_lines(x, y, values, 200.0)
        assert lines
        assert all(line[0] == line[-1] for line in lines)
