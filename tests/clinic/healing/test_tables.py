import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.healing.errors import TableError
from clinic.healing.series import Method, WoundState
from clinic.healing.tables import read_events, read_series

HEAD = "lesion,date,area_cm2,method,state\n"


def faults(read, text):
    with pytest.raises(TableError) as caught:
        read(text if isinstance(text, bytes) else text.encode())
    return caught.value.faults


def test_a_series_is_read_with_its_defaults():
    rows = read_series("\ufefflesion,date,area_cm2\r\nA,2026-01-05,2.35\r\n\r\nB,2026-01-05,0\r\n".encode())
    assert [row.lesion for row in rows] == ["A", "B"]
    area = rows[0].areas[0]
    assert (area.area, area.method, area.state) == (235.0, Method.TRACED, WoundState.NOT_STATED)


def test_methods_and_states_are_read_and_empty_ones_default():
    rows = read_series((HEAD + "A,2026-01-05,2,ruler,before\nA,2026-01-05,2,,\n").encode())
    assert [a.method for a in rows[0].areas] == [Method.RULER, Method.TRACED]
    assert [a.state for a in rows[0].areas] == [WoundState.BEFORE, WoundState.NOT_STATED]


BAD_SERIES = [
    ("", "file: 0 rows"),
    ("lesion,date,area_cm2\n", "file: 0 data rows, at least 1"),
    (
        "lesion,date,area_cm2,colour\nA,2026-01-05,1,red\n",
        "header: column 'colour' is not known, allowed are lesion",
    ),
    ("lesion,date\nA,2026-01-05\n", "header: column 'area_cm2' is missing"),
    ("lesion,date,area_cm2,date\nA,2026-01-05,1,2026-01-05\n", "header: column 'date' is given 2 times"),
    (HEAD + "A,2026-01-05,nan,,\n", "row 2: area_cm2 'nan' is not a decimal number from 0 to 1000"),
    (HEAD + "A,2026-01-05,inf,,\n", "row 2: area_cm2 'inf' is not a decimal number"),
    (HEAD + "A,2026-01-05,1_0,,\n", "row 2: area_cm2 '1_0' is not a decimal number"),
    (HEAD + "A,2026-01-05,,,\n", "row 2: area_cm2 '' is not a decimal number"),
    (HEAD + "A,2026-01-05,-1,,\n", "row 2: area_cm2 '-1' is not from 0 to 1000"),
    (HEAD + "A,2026-01-05,1000.1,,\n", "row 2: area_cm2 '1000.1' is not from 0 to 1000"),
    (HEAD + "A,2026-01-05,1e999,,\n", "row 2: area_cm2 '1e999' is not from 0 to 1000"),
    (HEAD + 'A,2026-01-05,"1,5",,\n', "row 2: area_cm2 '1,5' is not a decimal number"),
    (HEAD + "A,05.01.2026,1,,\n", "row 2: date '05.01.2026' is not a date written YYYY-MM-DD"),
    (HEAD + "A,20260105,1,,\n", "row 2: date '20260105' is not a date written YYYY-MM-DD"),
    (HEAD + "A,2026-02-30,1,,\n", "row 2: date '2026-02-30' is not a day of the calendar"),
    (HEAD + "A,1026-02-03,1,,\n", "row 2: date '1026-02-03' is not from 1900-01-01 to 2199-12-31"),
    (HEAD + "A,2026-01-05,1,guess,\n", "row 2: method 'guess' is not one of traced, ellipse, ruler"),
    (HEAD + "A,2026-01-05,1,,wet\n", "row 2: state 'wet' is not one of before, after"),
    (HEAD + ",2026-01-05,1,,\n", "row 2: lesion '' is empty, 1 to 100 characters"),
    (HEAD + "A,2026-01-05,1\n", "row 2: 3 cells, 5 needed"),
    (
        HEAD + "A,2026-01-05,1,,\nA,2026-01-05,2,traced,\n",
        "row 3: date '2026-01-05' of lesion 'A' repeats row 2",
    ),
    (HEAD + 'A,2026-01-05,1,,"x\n', "not readable as CSV"),
    (b"lesion,date,area_cm2\n\xff\xfe,2026-01-05,1\n", "file: byte 21 is not UTF-8 text"),
    ("lesion,date,area_cm2\nA\x00,2026-01-05,1\n", "file: holds a NUL byte"),
]


@pytest.mark.parametrize(("text", "sentence"), BAD_SERIES)
def test_a_faulty_series_names_row_field_value_and_limit(text, sentence):
    found = faults(read_series, text)
    assert len(found) == 1
    assert sentence in found[0]


def test_each_fault_has_its_own_sentence_in_order_of_rows():
    found = faults(read_series, HEAD + "A,2026-13-01,-1,,\nA,2026-01-05,1,,\nB,2026-01-05,x,,\n")
    assert [f.split(" '")[0] for f in found] == ["row 2: date", "row 2: area_cm2", "row 4: area_cm2"]


def test_a_thousand_faults_are_not_all_printed():
    found = faults(read_series, HEAD + "A,2026-01-05,x,,\n" * 1000)
    assert len(found) == 101
    assert found[-1] == "file: 900 more faults not shown"


def test_events_are_read_by_group():
    rows = read_events(b"duration,event,group\n3,1,a\n4.5,0,b\n6,1,a\n")
    assert [(r.group, r.durations, r.events) for r in rows] == [
        ("a", (3.0, 6.0), (1, 1)),
        ("b", (4.5,), (0,)),
    ]


def test_events_without_a_group_column_are_one_group():
    assert [r.group for r in read_events(b"weeks,event\n3,1\n")] == ["all"]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("duration,event,sex\n1,1,f\n", "header: column 'sex' is not known"),
        ("event\n1\n", "header: column 'duration' is missing"),
        ("duration,weeks,event\n1,1,1\n", "column 'duration' is given 2 times"),
        ("duration,event\n-1,1\n", "row 2: duration '-1' is not from 0 to 1e+06"),
        ("duration,event\nNaN,1\n", "row 2: duration 'NaN' is not a decimal number"),
        ("duration,event\n1,2\n", "row 2: event '2' is neither 0 (censored) nor 1 (healed)"),
        ("duration,event\n1,\n", "row 2: event '' is neither"),
        ("duration,event,group\n1,1,\n", "row 2: group '' is empty"),
    ],
)
def test_a_faulty_event_table_names_row_field_value_and_limit(text, sentence):
    found = faults(read_events, text)
    assert len(found) == 1
    assert sentence in found[0]


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused_with_a_sentence(content):
    for read in (read_series, read_events):
        try:
            read(content)
        except TableError as refused:
            sentences = refused.faults
        else:
            continue
        assert sentences
        assert all(sentences)
