import pytest
from hypothesis import given
from hypothesis import strategies as st

from offload.core.sheets.sheet_code import ALPHABET, CODE_LENGTH, is_sheet_code, normalised, sheet_code

seeds = st.binary(min_size=1, max_size=40)
places = st.integers(0, CODE_LENGTH - 1)


@given(seeds)
def test_every_code_is_accepted_and_stays_in_the_alphabet(seed):
    code = sheet_code(seed)
    assert len(code) == 6
    assert set(code) <= set(ALPHABET)
    assert is_sheet_code(code)


@given(seeds, places, st.sampled_from(ALPHABET))
def test_every_single_substitution_is_detected(seed, place, other):
    code = sheet_code(seed)
    wrong = code[:place] + other + code[place + 1 :]
    assert is_sheet_code(wrong) == (wrong == code)


@given(seeds, st.integers(0, CODE_LENGTH - 2))
def test_every_swap_of_neighbours_is_detected(seed, place):
    code = sheet_code(seed)
    swapped = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
    assert is_sheet_code(swapped) == (swapped == code)


def test_one_code_is_checked_exhaustively_against_all_its_neighbours():
    code = sheet_code(b"plan")
    accepted = {
        code[:i] + c + code[i + 1 :]
        for i in range(CODE_LENGTH)
        for c in ALPHABET
        if is_sheet_code(code[:i] + c + code[i + 1 :])
    }
    assert accepted == {code}


def test_look_alikes_are_not_in_the_alphabet():
    assert not set("0O1IL2Z5S8BUV") & set(ALPHABET)
    assert len(set(ALPHABET)) == len(ALPHABET) == 23


def test_the_same_seed_gives_the_same_code_and_another_seed_another():
    assert sheet_code(b"a") == sheet_code(b"a")
    assert len({sheet_code(bytes([i])) for i in range(200)}) == 200


def test_typing_may_use_small_letters_spaces_and_hyphens():
    code = sheet_code(b"typed")
    typed = f" {code[:3].lower()}-{code[3:].lower()} "
    assert normalised(typed) == code
    assert is_sheet_code(typed)


@pytest.mark.parametrize("typed", ["", "ABC", "0OOO11", "3333333", "éééééé"])
def test_what_cannot_be_a_code_is_refused_without_an_error(typed):
    assert not is_sheet_code(typed)


def test_an_empty_seed_is_refused():
    with pytest.raises(ValueError, match="seed is empty"):
        sheet_code(b"")
