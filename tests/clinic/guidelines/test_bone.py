"""What probe, X-ray, blood, MRI and sample propose of the bone: all 243 combinations."""

from dataclasses import replace
from itertools import product

import pytest

from clinic.guidelines.bone import BoneParts, below, propose_bone
from clinic.guidelines.errors import GradingError

NAMES = ("probe", "xray", "blood", "mri", "sample")
SAYS = ("against", "not_done", "supports")
ALL = [BoneParts(**dict(zip(NAMES, said, strict=True))) for said in product(SAYS, repeat=5)]
#: From good to bad; nothing proposed stands between "no" and "possible".
ORDER = ["no", None, "possible", "probable", "proven"]


def rank(parts):
    return ORDER.index(propose_bone(parts).state)


def saying(parts, what):
    return {name for name in NAMES if getattr(parts, name) == what}


def test_every_combination_has_a_sentence_and_a_source_that_says_from_memory():
    assert len(ALL) == 243
    for parts in ALL:
        made = propose_bone(parts)
        assert made.because
        assert made.because.endswith(".")
        assert "from memory" in made.source


@pytest.mark.parametrize("name", NAMES)
def test_a_test_against_never_proposes_more_than_one_not_done_nor_that_more_than_one_for_it(name):
    for parts in ALL:
        ranks = [rank(replace(parts, **{name: said})) for said in SAYS]
        assert ranks == sorted(ranks), parts


def test_only_a_sample_proves_and_it_always_does():
    for parts in ALL:
        assert (propose_bone(parts).state == "proven") == (parts.sample == "supports"), parts


def test_nothing_that_supports_it_is_ever_proposed_away():
    for parts in ALL:
        if saying(parts, "supports"):
            assert propose_bone(parts).state in ("possible", "probable", "proven"), parts


def test_no_needs_a_probe_or_an_mri_against_it():
    for parts in ALL:
        if propose_bone(parts).state == "no":
            assert "against" in (parts.probe, parts.mri), parts
    assert propose_bone(BoneParts()).state is None


def test_two_of_the_first_tests_together_are_probable_and_one_alone_is_possible():
    for pair in (("probe", "xray"), ("probe", "blood"), ("xray", "blood")):
        assert propose_bone(BoneParts(**dict.fromkeys(pair, "supports"))).state == "probable"
    for one in ("probe", "xray", "blood"):
        assert propose_bone(BoneParts(**{one: "supports"})).state == "possible"


def test_milder_than_proposed_is_told_apart():
    assert below("no", None)
    assert not below("possible", None)
    assert below("possible", "probable")
    assert not below("probable", "probable")
    assert not below("proven", "probable")


@pytest.mark.parametrize("name", NAMES)
def test_a_part_that_says_something_else_is_refused_by_name(name):
    with pytest.raises(GradingError, match=f"{name} is 'perhaps'"):
        BoneParts(**{name: "perhaps"})
