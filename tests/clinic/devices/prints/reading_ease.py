"""How hard a text is to read, as a grade of school.

Kincaid JP et al., Derivation of new readability formulas, Research Branch Report 8-75, 1975:
0.39 words/sentences + 11.8 syllables/words - 15.59.

Syllables are counted by rule: groups of vowels, without a silent final e; the rule is ours (no source) and is
held against words counted by hand in the test.
"""

import re

VOWELS = re.compile(r"[aeiouy]+")
WORD = re.compile(r"[A-Za-z']+")
#: A final e, es or ed that is not spoken: after a consonant, but not in -tle, -ses, -ches, -ted and the like.
SILENT = re.compile(r"[^aeiouy]e$|[^aeiouyscgxzh]es$|[^aeiouytd]ed$")
#: Two vowels that are spoken apart, as in bio; not in -tion, -cial.
APART = re.compile(r"(?<![tscg])i[ao]")
SPOKEN = re.compile(r"[^aeiouy]les?$")


def syllables(word: str) -> int:
    plain = word.lower().strip("'")
    silent = SILENT.search(plain) and not SPOKEN.search(plain)
    return max(1, len(VOWELS.findall(plain)) + len(APART.findall(plain)) - (1 if silent else 0))


def grade(sentences: list[str]) -> float:
    """Grade level of a text given sentence by sentence; a colon or a full stop inside one parts it too."""
    parts = [part for one in sentences for part in re.split(r"[.:!?](?:\s|$)", one) if WORD.search(part)]
    words = [word for part in parts for word in WORD.findall(part)]
    return 0.39 * len(words) / len(parts) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59
