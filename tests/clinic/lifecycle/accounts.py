"""Events of accounts."""

from __future__ import annotations

from clinic.accounts.states import account_state
from clinic.accounts.writes import accounts
from clinic.models import User

from .world import World

# --- accounts -----------------------------------------------------------------------------------------------
LINKS: dict[int, str] = {}


def invite(w: World) -> None:
    site = w.one(*w.sites)
    w.numbers += 1
    made = w.meet(
        lambda: accounts.account_invite(
            by=w.users[site.pk]["manager"][0],
            username=f"leaver{w.numbers}",
            first_name="Some",
            last_name="Body",
            role="staff",
            sites=[site],
        )
    )
    LINKS[made[0].pk] = made[1]


def _account(w: World) -> tuple[User, User] | None:
    found = w.pick(User.objects.filter(username__startswith="leaver"))
    if found is None:
        return None
    return found, w.users[found.sites.get().pk]["manager"][0]


def _account_event(w: World, event: str) -> None:
    if (pair := _account(w)) is None:
        return
    user, manager = pair
    state = account_state(user)
    change = {
        "by": manager,
        "user": user,
        "first_name": user.first_name,
        "last_name": user.last_name,
        "role": user.role,
        "sites": list(user.sites.all()),
    }
    write = {
        "set_password": lambda: accounts.link_use(
            token=LINKS.get(user.pk, "none"), password="a long walk by the river 7"
        ),
        "reset": lambda: accounts.account_reset(by=manager, user=user),
        "switch_off": lambda: accounts.account_change(**change, active=False),
        "switch_on": lambda: accounts.account_change(**change, active=True),
    }[event]
    made = w.meet(
        write,
        ("account", state, event),
        after={"account": lambda: account_state(User.objects.get(pk=user.pk))},
    )
    if event == "reset" and made:
        LINKS[user.pk] = made


def set_password(w: World) -> None:
    _account_event(w, "set_password")


def reset(w: World) -> None:
    _account_event(w, "reset")


def switch_off(w: World) -> None:
    _account_event(w, "switch_off")


def switch_on(w: World) -> None:
    _account_event(w, "switch_on")
