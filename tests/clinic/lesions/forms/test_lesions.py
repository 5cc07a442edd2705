"""What may be typed about a lesion."""

from clinic.guidelines.sites import SITES
from clinic.lesions.forms.lesions import LesionNewForm, grouped_places


def test_every_place_of_the_closed_list_can_be_chosen_once():
    keys = [key for _, group in grouped_places()[1:] for key, _ in group]
    assert sorted(keys) == sorted(SITES)


def test_the_episode_is_asked_for_only_when_none_is_open():
    asked = LesionNewForm(limbs=[], healed=[], needs_episode=True)
    not_asked = LesionNewForm(limbs=[], healed=[], needs_episode=False)
    assert "first_presented_on" in asked.fields
    assert "first_presented_on" not in not_asked.fields


def test_coming_back_is_asked_only_when_something_healed():
    assert "recurs_of" not in LesionNewForm(limbs=[], healed=[], needs_episode=True).fields
