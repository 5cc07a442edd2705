"""The six-character code of a printed sheet: five characters and a check character.

The code stands on the template instead of a name; it is typed back at the cut and at the fitting, so a slip
of the pen or of a finger must not lead to another sheet. The alphabet leaves out look-alikes (0 O, 1 I L, 2
Z, 5 S, 8 B, U V) and its size, 23, is prime: a weighted sum modulo a prime then catches every single wrong
character and every swap of two neighbours.
"""

from __future__ import annotations

import hashlib

from offload.core.errors import ReliefError

__all__ = ["ALPHABET", "CODE_LENGTH", "is_sheet_code", "normalised", "sheet_code"]

ALPHABET = "34679ACDEFGHJKMNPQRTWXY"
CODE_LENGTH = 6
_BASE = len(ALPHABET)
_DIGITS = CODE_LENGTH - 1
# Weights 1…6 for the six places; the last is solved for, 6·4 = 24 ≡ 1 (mod 23).
_INVERSE_OF_LAST_WEIGHT = pow(CODE_LENGTH, -1, _BASE)


def sheet_code(seed: bytes) -> str:
    """Return the code that `seed` gives.

    Parameters
    ----------
    seed : bytes
        Random bytes for a sheet that is kept, or the plan itself where the answer must not vary.

    Returns
    -------
    str
        Five characters drawn from SHA-256 of the seed, and the check character.

    Notes
    -----
    With values v₁…v₆ in 0…22 the check character makes Σ i·vᵢ ≡ 0 (mod 23). A wrong character changes the sum
    by i·(v′ − v) and a swap of neighbours by v − v′; neither is 0 modulo a prime larger than 6. There are
    23⁵ = 6 436 343 codes, so a store must still refuse a code it already has.

    Examples
    --------
    >>> from offload.core.sheets.sheet_code import is_sheet_code, sheet_code
    >>> code = sheet_code(b'the plan of this sheet')
    >>> code, is_sheet_code(code), is_sheet_code(code[1] + code[0] + code[2:])
    ('RCRQ4P', True, False)
    """
    if not seed:
        raise ReliefError("sheet code: the seed is empty, at least 1 byte is needed")
    number = int.from_bytes(hashlib.sha256(seed).digest(), "big") % _BASE**_DIGITS
    values = []
    for _ in range(_DIGITS):
        number, value = divmod(number, _BASE)
        values.append(value)
    total = sum(weight * value for weight, value in enumerate(values, start=1))
    values.append(-total * _INVERSE_OF_LAST_WEIGHT % _BASE)
    return "".join(ALPHABET[v] for v in values)


def normalised(typed: str) -> str:
    """Return what was typed in capitals, without spaces and hyphens.

    Examples
    --------
    >>> from offload.core.sheets.sheet_code import normalised
    >>> normalised('36a-mc q')
    '36AMCQ'
    """
    return "".join(c for c in typed.upper() if c not in " -\t\u00a0")


def is_sheet_code(typed: str) -> bool:
    """Say whether what was typed is a possible sheet code: length, alphabet and check character."""
    code = normalised(typed)
    if len(code) != CODE_LENGTH or any(c not in ALPHABET for c in code):
        return False
    return sum(weight * ALPHABET.index(c) for weight, c in enumerate(code, start=1)) % _BASE == 0
