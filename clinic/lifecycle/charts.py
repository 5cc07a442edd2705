"""All charts, by their noun."""

from __future__ import annotations

from .account import ACCOUNT
from .chart import Chart
from .device import DEVICE
from .imprint import IMPRINT
from .opening_card import OPENING_CARD
from .person import PERSON
from .plan import PLAN
from .question import QUESTION
from .referral import REFERRAL
from .transfer import TRANSFER
from .ulcer import ULCER
from .visit import VISIT

__all__ = ["CHARTS"]

#: In the order of a case.
CHARTS: dict[str, Chart] = {
    chart.noun: chart
    for chart in (
        PERSON,
        ULCER,
        DEVICE,
        OPENING_CARD,
        PLAN,
        IMPRINT,
        VISIT,
        REFERRAL,
        QUESTION,
        TRANSFER,
        ACCOUNT,
    )
}
