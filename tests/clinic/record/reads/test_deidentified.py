from collections import Counter
from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from clinic.record.reads.deidentified import LEAST, deidentified, small


def row(place="mth_1", device="toe_spacer", day=date(2026, 5, 3)):
    return {
        "record_number": "T1",
        "lesion": "A",
        "place": place,
        "device_class": device,
        "prescribed_on": day,
        "fitted_on": day,
        "stopped_on": None,
        "day": day,
        "foot": "left",
        "first_offered": device,
        "outcome": "Open",
    }


def test_numbers_and_days_go_and_the_month_stays_where_five_share_it():
    cut = deidentified([row() for _ in range(5)])
    assert cut[0] == {
        "place": "mth_1",
        "device_class": "toe_spacer",
        "foot": "left",
        "first_offered": "toe_spacer",
        "outcome": "Open",
        "when": "2026-05",
    }


def test_what_few_share_is_cut_step_by_step():
    rows = (
        [row() for _ in range(5)]
        + [row(place="mth_2") for _ in range(3)]
        + [row(place="mth_3") for _ in range(2)]
    )
    cut = deidentified(rows)
    assert [r["place"] for r in cut] == ["mth_1"] * 5 + [None] * 5
    assert {r["when"] for r in cut} == {"2026-05"}
    alone = deidentified([row()])[0]
    assert (alone["when"], alone["place"], alone["device_class"]) == (None, None, None)


@given(
    st.lists(
        st.tuples(st.sampled_from("ab"), st.sampled_from("xyz"), st.integers(1, 12), st.integers(2024, 2026)),
        max_size=60,
    )
)
def test_no_row_keeps_what_fewer_than_five_share(told):
    cut = deidentified([row(place, device, date(year, month, 7)) for place, device, month, year in told])
    shared = Counter((r["when"], r["place"], r["device_class"], r["foot"]) for r in cut)
    for key, n in shared.items():
        assert n >= LEAST or key == (None, None, None, None)
    assert [r["outcome"] for r in cut] == ["Open"] * len(told)


def test_small_is_one_to_four():
    assert [small(n) for n in (0, 1, 4, 5)] == [False, True, True, False]
