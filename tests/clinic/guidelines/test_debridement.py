"""The blade is withheld from an uninfected ulcer with severe ischaemia, and from no other by this rule."""

from itertools import product

from clinic.guidelines.debridement import sharp_withheld


def test_all_grades():
    for ischaemia, infection in product((None, 0, 1, 2, 3), (None, 1, 2, 3, 4)):
        withheld = bool(sharp_withheld(ischaemia, infection))
        assert withheld == (ischaemia == 3 and infection in (None, 1)), (ischaemia, infection)
