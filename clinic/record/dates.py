"""A day in words, for code: the form that templates give a day (`DATE_FORMAT`)."""

from clinic.healing.reason import day_words

__all__ = ["day_words"]
