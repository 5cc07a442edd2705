"""How dates read on the screens: 25 Nov 2026."""

DATE_FORMAT = "j M Y"
DATETIME_FORMAT = "j M Y, H:i"
SHORT_DATE_FORMAT = "j M Y"
TIME_FORMAT = "H:i"
