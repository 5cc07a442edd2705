"""Pages offer by the charts: `{% if lesion|may_now:"close" %}`."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import template

from clinic.accounts.states import account_state
from clinic.alerts.states import referral_state
from clinic.devices.states import device_state
from clinic.lesions.states import question_state, ulcer_state
from clinic.models import Lesion, LimbPlan, Look, Person, Prescription, Referral, Transfer, User, Visit
from clinic.people.states import transfer_state
from clinic.record.lifecycle import may_happen, person_state
from clinic.relief.states import limb_plan_state
from clinic.visits.states import visit_state

register = template.Library()

#: Row -> the noun of its chart, and how its room reads the state it is in.
NOUNS: dict[type, tuple[str, Callable[[Any], str]]] = {
    Person: ("person", person_state),
    Lesion: ("ulcer", ulcer_state),
    Prescription: ("device", device_state),
    LimbPlan: ("plan", limb_plan_state),
    Visit: ("visit", visit_state),
    Referral: ("referral", referral_state),
    Look: ("question", question_state),
    Transfer: ("transfer", transfer_state),
    User: ("account", account_state),
}
#: Events that do something new for the person; every other one corrects, ends or tells of what stands.
BEGINS = frozenset(
    {
        *(("ulcer", event) for event in ("measure", "imprint", "plan", "ask", "split", "recur")),
        *(("device", event) for event in ("card", "fit", "seal")),
    }
)
#: The person's own chart says it already, or the row is not of one person.
APART = frozenset({"person", "transfer", "account"})


@register.filter
def may_now(row: Any, event: str) -> bool:
    """Whether the charts of the row and of its person let the event happen; no query where the page has read
    the row's person with it.
    """
    noun, state = NOUNS[type(row)]
    if not may_happen(noun, state(row), event):
        return False
    if noun in APART:
        return True
    person = row
    for step in row.SITE_PATH.split("__")[:-1]:
        person = getattr(person, step)
    return may_happen("person", person_state(person), "care" if (noun, event) in BEGINS else "correct")
