"""The charts are whole, their page is current, and every write that changes a state asks them."""

import re
from pathlib import Path

import pytest

from clinic.lifecycle.chart import Allows, Chart, LifecycleError, Meets, Refuses
from clinic.lifecycle.charts import CHARTS
from clinic.lifecycle.table import page
from clinic.record.errors import Conflict, Refused
from clinic.record.lifecycle import all_missing

ROOT = Path(__file__).resolve().parents[3]


def test_the_page_of_the_charts_is_current():
    assert (ROOT / "clinic/lifecycle/README.md").read_text() == page(), "python -m clinic.lifecycle.table"


def test_a_chart_with_an_open_cell_or_a_way_to_nowhere_is_refused():
    with pytest.raises(LifecycleError, match="no answer"):
        Chart("door", {"open": "Open", "shut": "Shut"}, {"shut": Meets("It is shut", {"open": "no"})})
    with pytest.raises(LifecycleError, match="no state"):
        Chart("door", {"open": "Open"}, {"shut": Meets("It is shut", {"open": Allows(("shut",))})})
    with pytest.raises(LifecycleError, match="twice"):
        Meets("It is shut", {"open": "no", ("open", "shut"): "no"}).by_state()


def test_refusals_are_sentences_and_every_state_but_the_end_can_be_left():
    for chart in CHARTS.values():
        for (state, event), answer in chart.cells.items():
            if isinstance(answer, Refuses):
                words = re.sub(r"\{(\w+)\}", "x", answer.words)
                assert len(words.split()) > 2, (chart.noun, state, event)
                assert "{" not in words, (chart.noun, state, event)
        reached = {to for answer in chart.cells.values() if isinstance(answer, Allows) for to in answer.to}
        assert reached <= set(chart.states)


def test_all_that_is_missing_is_said_at_once():
    def no(words, field):
        def check():
            raise Refused(words, field=field)

        return check

    with pytest.raises(Refused, match="^One. Two.$") as refused:
        all_missing(no("One.", "a"), lambda: None, no("Two.", "b"), no("One.", "a"))
    assert refused.value.field is None
    with pytest.raises(Refused) as refused:
        all_missing(lambda: None, no("Two.", "b"))
    assert refused.value.field == "b"

    def newer():
        raise Conflict("Newer.")

    with pytest.raises(Conflict):
        all_missing(no("One.", "a"), newer)
    all_missing(lambda: None)
