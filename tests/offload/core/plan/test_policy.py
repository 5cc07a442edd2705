"""Which layer is cut: by weight, one layer more for a rigid deformed foot, or by explicit choice."""

import pytest

from offload.core.errors import ReliefError
from offload.core.foam.stack import DEMONSTRATION_STACK, Layer
from offload.core.plan.policy import Policy, decide

COVER, MIDDLE, BASE = DEMONSTRATION_STACK
NO_MIDDLE = (COVER, BASE)
TWO_MIDDLES = (COVER, MIDDLE, MIDDLE, BASE)


@pytest.mark.parametrize(
    ("weight", "rigid", "cut", "words"),
    [
        (82.0, False, ("middle",), "82 kg is below the threshold of 90 kg: cut the middle"),
        (89.99, False, ("middle",), "below the threshold"),
        (90.0, False, ("base",), "90 kg is at the threshold of 90 kg: cut the base"),
        (95.0, False, ("base",), "95 kg is above the threshold of 90 kg: cut the base"),
        (82.0, True, ("middle", "base"), "extends into the next layer down, the base"),
        (95.0, True, ("base",), "there is no layer below the base"),
    ],
)
def test_weight_and_rigidity_choose_the_layer(weight, rigid, cut, words):
    decision = decide(DEMONSTRATION_STACK, weight, rigid)
    assert decision.cut_layers == cut
    assert words in " ".join(decision.reasons)
    assert not decision.departs


@pytest.mark.parametrize("rigid", [False, True])
def test_without_a_middle_the_base_is_cut_and_the_reason_says_so(rigid):
    decision = decide(NO_MIDDLE, 70.0, rigid)
    assert decision.cut_layers == ("base",)
    assert "the stack has no middle layer: cut the base" in decision.reasons[0]
    assert ("no layer below the base" in " ".join(decision.reasons)) is rigid


def test_middle_stands_for_every_middle():
    assert decide(TWO_MIDDLES, 70.0).cut_layers == ("middle",)


def test_the_threshold_belongs_to_the_policy():
    assert decide(DEMONSTRATION_STACK, 82.0, policy=Policy(weight_threshold=80.0)).cut_layers == ("base",)


def test_an_explicit_cut_that_departs_asks_for_a_written_reason():
    decision = decide(DEMONSTRATION_STACK, 82.0, cut="middle+base")
    assert decision.cut_layers == ("middle", "base")
    assert decision.policy_layers == ("middle",)
    assert decision.departs
    assert (
        "departs from the policy, which would cut the middle: a written reason is needed"
        in decision.reasons[0]
    )


def test_an_explicit_cut_that_agrees_says_so():
    decision = decide(DEMONSTRATION_STACK, 95.0, cut="base")
    assert not decision.departs
    assert decision.reasons[-1] == "Cutting the base was asked for and agrees with the policy."


@pytest.mark.parametrize("cut", ["middle", "middle+base"])
def test_a_layer_that_is_not_there_cannot_be_cut(cut):
    with pytest.raises(ReliefError, match="the stack has no middle layer; the limit is 'auto' or 'base'"):
        decide((COVER, Layer("base", "firm", 9.0)), 70.0, cut=cut)
