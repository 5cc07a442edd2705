import pytest

from clinic.charts.errors import ChartError
from clinic.charts.incidence import IncidenceGroup, incidence_svg
from clinic.healing.incidence import cumulative_incidence

CAUSES = ("healed", "amputation", "death")


def group(name, durations, endings):
    found = cumulative_incidence(durations, endings, CAUSES)
    return IncidenceGroup(name, tuple(durations), found[0], found[1:])


CAST = group("cast", [3.0, 5.0, 8.0, 9.0], ["healed", "amputation", None, "healed"])
SHOE = group("shoe", [4.0, 6.0, 20.0], ["death", None, "healed"])


def test_both_panels_their_names_and_the_numbers_at_risk_are_there():
    svg = incidence_svg([CAST, SHOE])
    assert svg == incidence_svg([CAST, SHOE])
    for words in (b"Healed [%]", b"Amputated or died [%]", b"Still observed", b"cast", b"shoe"):
        assert words in svg


def test_a_group_without_any_ending_is_flat_and_drawn():
    assert b"quiet" in incidence_svg([group("quiet", [3.0, 4.0], [None, None])])


@pytest.mark.parametrize("groups", [[], [CAST] * 7])
def test_no_group_or_too_many_are_refused(groups):
    with pytest.raises(ChartError, match="groups"):
        incidence_svg(groups)
