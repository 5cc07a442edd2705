import math

import numpy as np
import pytest

from offload.core.pressure.measured import GridError, MeasuredGrid, place_grid, read_grid, well_placed

TEXT = "0,10,20\n30,40,50\n"
CELLS = {"cell": (5.0, 6.0), "unit": "kPa", "kind": "peak"}


def test_a_grid_is_read_as_it_stands():
    grid = read_grid(TEXT, **CELLS)
    assert grid.kpa == ((0, 10, 20), (30, 40, 50))
    assert grid.force == pytest.approx(150 * 30 / 1000)


@pytest.mark.parametrize("separator", [";", "\t"])
def test_semicolons_and_tabs_part_values_too(separator):
    assert read_grid(TEXT.replace(",", separator), **CELLS) == read_grid(TEXT, **CELLS)


def test_newtons_per_square_centimetre_are_ten_kpa():
    assert read_grid(TEXT, **(CELLS | {"unit": "N/cm2"})).kpa[1] == (300, 400, 500)


def test_rows_and_columns_are_turned_to_heel_and_medial_first():
    grid = read_grid(TEXT, **CELLS, toes_first=True, lateral_first=True)
    assert grid.kpa == ((50, 40, 30), (20, 10, 0))


@pytest.mark.parametrize(
    "text",
    [
        "[[0, 10, 20], [30, 40, 50]]",
        ' {"kpa": [[0, 10, 20], [30, 40.0, 50]]}',
        '{"kind": "peak", "cell_mm": [5, 6.0], "origin_mm": [-40, 0], "kpa": [[0, 10, 20], [30, 40, 50]]}',
    ],
)
def test_json_rows_are_read_as_csv_is(text):
    assert read_grid(text, **CELLS) == read_grid(TEXT, **CELLS)


@pytest.mark.parametrize(
    ("text", "change", "words"),
    [
        ("[[1, 2]", {}, "cannot be read"),
        ("[1, 2]", {}, "no list of rows"),
        ("[[1], []]", {}, "no list of rows"),
        ("[[1, 2], [3]]", {}, "row 2 has 1 values"),
        ("[[1, true]]", {}, "row 1 holds True"),
        ("[[1, null]]", {}, "row 1 holds None"),
        ("[[1, [2]]]", {}, r"row 1 holds \[2\]"),
        ("[[1, NaN]]", {}, "it holds NaN, which is no number"),
        ("[[1, 1" + "0" * 400 + "]]", {}, "a number has 401 digits in a row; at most 25"),
        ('{"rows": [[1]]}', {}, "the field 'rows'"),
        ('{"kind": "peak"}', {}, "no field 'kpa'"),
        ('{"kpa": [[1]]}', {"unit": "N/cm2"}, "'kpa' is in kPa, and the unit given is N/cm2"),
        ('{"kpa": [[1]], "cell_mm": [5, 5]}', {}, r"cell_mm \[5, 5\] and \[5.0, 6.0\] was given"),
        ('{"kpa": [[1]], "kind": "instant"}', {}, "kind 'instant' and 'peak' was given"),
    ],
)
def test_json_that_is_no_grid_or_contradicts_what_was_given_is_refused(text, change, words):
    with pytest.raises(GridError, match=words):
        read_grid(text, **(CELLS | change))


@pytest.mark.parametrize(
    ("text", "change", "words"),
    [
        ("1,2\n3\n", {}, "row 2 has 1 values; it must have 2"),
        ("1,x\n", {}, "row 1 holds 'x'"),
        ("1,-2\n", {}, "row 1 holds '-2'"),
        ("1,nan\n", {}, "row 1 holds 'nan'"),
        ("1,4000\n", {}, "from 0 to 3000 kPa"),
        ("1,400\n", {"unit": "N/cm2"}, "from 0 to 300 N/cm2"),
        ("0,0\n", {}, "0 everywhere"),
        ("\n", {}, "0 rows"),
        (TEXT, {"unit": "psi"}, "unit is 'psi'"),
        (TEXT, {"kind": "mean"}, "kind is 'mean'"),
        (TEXT, {"cell": (0.5, 5.0)}, "cell is 0.5 x 5 mm"),
    ],
)
def test_what_is_no_pressure_grid_is_refused_by_name(text, change, words):
    with pytest.raises(GridError, match=words):
        read_grid(text, **(CELLS | change))


def test_a_grid_moved_by_whole_cells_keeps_its_cells():
    grid = read_grid(TEXT, cell=(5.0, 5.0), unit="kPa", kind="instant")
    found = place_grid(grid, ((0.0, 0.0), (0.0, 10.0)), ((-10.0, 20.0), (-10.0, 30.0)))
    assert found.turn == pytest.approx(0.0)
    assert found.stretch == pytest.approx(0.0)
    assert found.map.origin == (-10.0, 20.0)
    assert np.array(found.map.kpa) == pytest.approx(np.kron(grid.kpa, np.ones((2, 2))))
    assert found.map.kind == "instant"


@pytest.mark.parametrize("angle", [-25.0, 7.0, 90.0])
def test_a_turned_grid_keeps_its_force_and_turns_its_centre(angle):
    rng = np.random.default_rng(1)
    grid = read_grid(
        "\n".join(",".join(map(str, row)) for row in rng.uniform(0, 300, (40, 16)).round(1)), **CELLS
    )
    turn = math.radians(angle)
    rotation = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    points = np.array([[20.0, 30.0], [50.0, 180.0]])
    found = place_grid(grid, tuple(map(tuple, points)), tuple(map(tuple, points @ rotation.T + (3.0, -4.0))))
    assert found.turn == pytest.approx(angle)
    kpa, (dx, dy) = np.array(found.map.kpa), found.map.cell
    assert kpa.sum() * dx * dy / 1000 == pytest.approx(grid.force)
    source = np.array(grid.kpa)
    centre = np.array(
        [
            (source.sum(axis=0) @ ((np.arange(16) + 0.5) * 5.0)) / source.sum(),
            (source.sum(axis=1) @ ((np.arange(40) + 0.5) * 6.0)) / source.sum(),
        ]
    )
    x, y = found.map.centres()
    moved = np.array([kpa.sum(axis=0) @ x, kpa.sum(axis=1) @ y]) / kpa.sum()
    assert moved == pytest.approx(rotation @ centre + (3.0, -4.0), abs=0.3)


@pytest.mark.parametrize(("apart", "kept"), [(188.1, True), (211.9, True), (187.9, False), (212.1, False)])
def test_a_new_grid_whose_points_miss_their_landmarks_by_more_than_twelve_millimetres_is_refused(apart, kept):
    placed = place_grid(read_grid(TEXT, **CELLS), ((0, 0), (0, 200)), ((0, 0), (0, apart)))
    if kept:
        assert well_placed(placed) is placed
    else:
        with pytest.raises(GridError, match="the limit is 12 mm"):
            well_placed(placed)


@pytest.mark.parametrize("points", [((0, 0), (0, 100)), ((0, 100), (0, 0))])
def test_a_difference_in_distance_is_left_at_the_toes_and_a_large_one_refused(points):
    grid = read_grid(TEXT, **CELLS)
    landmarks = tuple((0, 20 + 1.04 * along) for _, along in points)
    found = place_grid(grid, points, landmarks)
    assert found.stretch == pytest.approx(0.04)
    assert found.misfit == pytest.approx(4.0)
    assert found.map.origin[1] == pytest.approx(20.0, abs=1e-6), "the heel's point lies on its landmark"
    with pytest.raises(GridError, match="difference of 10 %"):
        place_grid(grid, ((0, 0), (0, 100)), ((0, 0), (0, 130)))
    with pytest.raises(GridError, match="at least 10 mm"):
        place_grid(grid, ((0, 0), (0, 1)), ((0, 0), (0, 1)))


@pytest.mark.parametrize("side", [1, 2, 3])
def test_peaks_of_one_to_nine_cells_are_kept_whatever_way_the_grid_is_turned(side):
    """A high peak and one just above 200 kPa over a foot of 120 kPa, turned and moved off the cells."""
    source = np.full((40, 16), 120.0)
    source[8 : 8 + side, 6 : 6 + side] = 350.0
    source[30 : 30 + side, 9 : 9 + side] = 210.0
    grid = MeasuredGrid(tuple(map(tuple, source.tolist())), (5.0, 5.0), "peak")
    for turn in np.radians([0.0, 7.0, 20.0, 33.0, 45.0, -17.0]):
        rotation = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        points = np.array([[20.0, 30.0], [50.0, 180.0]])
        for shift in ((0.0, 0.0), (1.3, -0.6), (0.4, 2.1)):
            laid = tuple(map(tuple, points @ rotation.T + shift))
            found = place_grid(grid, tuple(map(tuple, points)), laid).map
            kpa = found.grid()
            x, y = np.meshgrid(*found.centres())
            at = (np.stack([x.ravel(), y.ravel()], axis=1) - shift) @ rotation
            lower = (at[:, 1] < 100).reshape(kpa.shape)
            assert kpa[lower].max() == pytest.approx(350.0, rel=0.03)
            assert kpa[~lower].max() == pytest.approx(210.0, rel=0.03)
            assert kpa.sum() * found.cell[0] * found.cell[1] / 1000 == pytest.approx(grid.force, rel=1e-3)
            # No load is moved farther than the peak itself: its own sensor-sized patch keeps its mean.
            middle = (np.array([6, 8]) + side / 2) * 5.0
            patch = (np.hypot(*(at - middle).T) < 12.0).reshape(kpa.shape)
            true = np.array(grid.kpa)[
                np.clip(at[:, 1] // 5, 0, 39).astype(int), np.clip(at[:, 0] // 5, 0, 15).astype(int)
            ].reshape(kpa.shape)
            assert kpa[patch].mean() == pytest.approx(true[patch].mean(), rel=0.06)
