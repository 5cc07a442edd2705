"""User names that look alike are one name: whoever reads a list must not take one account for another."""

from __future__ import annotations

import unicodedata

from clinic.models import User

__all__ = ["name_fault", "skeleton"]

#: Letters that are drawn as a Latin one, and Latin ones and digits that are drawn alike. After the idea of
#: Unicode Technical Standard 39, "confusables"; the choice of letters is from memory and no whole table.
_ALIKE = str.maketrans(
    {
        **dict(zip("авеѕіјкмнорстухѵԁɡһԛԝьգոսհցօ", "abesijkmhopctyxvdghqwbqnuhgo", strict=True)),
        **dict(zip("αβγεηικνορτυχωϲ", "abyenikvoptuxwc", strict=True)),
        "1": "l",
        "i": "l",
        "|": "l",
        "ı": "l",
        "0": "o",
        "5": "s",
        "ß": "ss",
        "ø": "o",
        "đ": "d",
        "ł": "l",
    }
)


def skeleton(name: str) -> str:
    """What a name looks like: letters of one shape become one letter, marks and dots are dropped."""
    plain = unicodedata.normalize("NFKC", name).casefold()
    bare = "".join(c for c in unicodedata.normalize("NFD", plain) if not unicodedata.combining(c))
    return bare.translate(_ALIKE).replace("rn", "m").replace("vv", "w")


def name_fault(name: str) -> str:
    """Why an account cannot have this user name; empty if it can."""
    if unicodedata.normalize("NFKC", name) != name:
        return f"User name: {name} holds letters in another form; type it with plain letters."
    scripts = {unicodedata.name(c, "?").split()[0] for c in name if c.isalpha()}
    if len(scripts) > 1:
        return f"User name: {name} mixes letters of {' and '.join(sorted(s.title() for s in scripts))}."
    if User.objects.filter(username__iexact=name).exists():
        return f"User name: {name} is taken."
    looks = skeleton(name)
    alike = next(
        (one for one in User.objects.values_list("username", flat=True) if skeleton(one) == looks), None
    )
    return f"User name: {name} looks like {alike}, which is taken." if alike else ""
