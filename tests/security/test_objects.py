"""Random users against random objects: what is not of one's sites is not there, what is above the role is
refused.

`python -m pytest tests/security/test_objects.py` prints how many pairs were asked.
"""

from __future__ import annotations

import os
import re

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.access import ABILITIES
from clinic.models import Person, PersonState
from tests import factories
from tests.test_access import ROLES, ROUTES, names_a_record, records

EXAMPLES = int(os.environ.get("OBJECT_SWEEP", "60"))
OBJECT_ROUTES = sorted(name for name in ROUTES if names_a_record(name))
#: States an object may be in when it is asked for.
STATES = ("as it is", "moved away", "restricted", "closed", "in error", "stopped")
#: Pages that need a computed plan or a stored picture; their own tests open them.
NEEDS_MORE = {"code", "photo", "scale"}


@pytest.fixture
def world(db):
    """Three sites with a record of each kind, in each state; users with every set of sites and every role."""
    sites = [factories.site() for _ in range(3)]
    held = {(n, state): _in_state(records(site), state) for n, site in enumerate(sites) for state in STATES}
    clients = {}
    for role in ROLES:
        for mask in range(8):
            user = factories.user(role)
            user.sites.set([site for n, site in enumerate(sites) if mask & 1 << n])
            client = Client(raise_request_exception=False)
            client.force_login(user)
            clients[role, mask] = client
    return held, clients


def _in_state(row, state):
    from clinic.models import Lesion, Prescription, Visit

    person = Person.objects.filter(pk=row["person"])
    # Names that are no part of one another.
    person.update(family_name=f"Fam-{row['person']}-end", record_number=f"R-{row['person']}-x")
    if state == "moved away":
        person.update(state=PersonState.MOVED, state_on="2026-01-01")
    elif state == "restricted":
        person.update(restricted_on="2026-01-01", restricted_because="Art. 18")
    elif state == "closed":
        Lesion.objects.filter(pk=row["lesion"]).update(
            state="to_confirm", closed_on=Lesion.objects.get(pk=row["lesion"]).first_seen_on
        )
    elif state == "in error":
        Visit.objects.filter(pk=row["visit"]).update(state="in_error", error_reason="wrong person")
    elif state == "stopped":
        Prescription.objects.filter(pk=row["prescription"]).update(
            stopped_on="2026-11-01", stop_reason="broken"
        )
    return row


asked = st.tuples(
    st.sampled_from(OBJECT_ROUTES),
    st.sampled_from(ROLES),
    st.integers(0, 7),
    st.integers(0, 2),
    st.sampled_from(STATES),
    st.sampled_from(["get", "post"]),
    st.sampled_from(["plain", "htmx"]),
)


def test_random_users_and_objects_never_meet_across_sites_or_above_the_role(world, capsys):
    held, clients = world
    counts = {"refused": 0, "not there": 0, "open": 0}

    # Always the same requests: how many of each kind there were is counted below.
    @settings(max_examples=EXAMPLES * 5, derandomize=True)
    @given(asked)
    def sweep(one):
        name, role, mask, site, state, method, how = one
        row = held[site, state]
        arguments = re.findall(r"<\w+:(\w+)>", ROUTES[name][0])
        path = reverse(name, kwargs={key: row[key] for key in arguments})
        headers = {"HX-Request": "true"} if how == "htmx" else {}
        allowed, mine = role in ABILITIES[ROUTES[name][1]], bool(mask & 1 << site)
        if allowed and mine and (method == "post" or NEEDS_MORE & set(arguments)):
            return  # what one may do with one's own records is told by the tests of each noun
        answer = getattr(clients[role, mask], method)(path, headers=headers)
        if not allowed:
            assert answer.status_code == 403, one
            counts["refused"] += 1
        elif not mine:
            assert answer.status_code == 404, one
            body = answer.content.decode()
            person = Person.objects.get(pk=row["person"])
            assert person.family_name not in body, one
            assert person.record_number not in body, one
            counts["not there"] += 1
        else:
            # What would be typed into a restricted record is refused before it is.
            refused = (403,) if state == "restricted" else ()
            assert answer.status_code in (200, 302, 404, 405, *refused), one
            counts["open"] += 1

    sweep()
    with capsys.disabled():
        print(
            f"\nobject sweep: {len(OBJECT_ROUTES)} routes x {len(ROLES)} roles x 8 sets of sites x 3 sites x "
            f"{len(STATES)} states; asked {sum(counts.values())}: {counts}, 0 leaks"
        )
    assert min(counts.values()) > EXAMPLES // 6


def test_lists_show_only_rows_of_ones_own_sites(world):
    held, clients = world
    people = {(site, state): Person.objects.get(pk=row["person"]) for (site, state), row in held.items()}
    lists = [name for name in ROUTES if not names_a_record(name)]
    asked = 0
    for role in ROLES:
        for mask in (1, 2, 4):
            for name in lists:
                if role not in ABILITIES[ROUTES[name][1]] or name in ("switch_user", "sign_out_other"):
                    continue
                answer = clients[role, mask].get(reverse(name))
                body = (b"".join(answer.streaming_content) if answer.streaming else answer.content).decode(
                    errors="replace"
                )
                asked += 1
                for (site, _), person in people.items():
                    if not mask & 1 << site:
                        assert person.family_name not in body, (role, mask, name)
    assert asked > 60
