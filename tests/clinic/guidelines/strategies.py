"""Hypothesis strategies for facts."""

from hypothesis import strategies as st

from clinic.guidelines.facts import ALL_FIELDS, CHOICES, GRADES, SURGERY_WEEKS_MAX, Facts


def _field(name):
    if name in CHOICES:
        return st.none() | st.sampled_from(CHOICES[name])
    if name in GRADES:
        return st.none() | st.integers(*GRADES[name])
    if name == "recent_surgery_weeks":
        return st.none() | st.floats(0, SURGERY_WEEKS_MAX)
    return st.sampled_from([None, False, True])


any_facts = st.builds(Facts, **{name: _field(name) for name in ALL_FIELDS})
