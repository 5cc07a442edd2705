"""The hospital's sign-on: roles follow groups, whatever is wrong signs nobody in, local accounts stay."""

from __future__ import annotations

import time
from urllib.parse import parse_qs, urlsplit

import pytest
from django.test import Client
from django.urls import reverse
from django_otp.plugins.otp_totp.models import TOTPDevice

from clinic.config.environment import Grant
from clinic.models import AuditEvent, SignIn, User
from tests import factories
from tests.clinic.accounts import provider as hospital
from tests.security.test_sign_in import code_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def provider(settings, site, other_site):
    with hospital.running() as one:
        settings.SIGN_ON_ISSUER = one.url
        settings.SIGN_ON_CLIENT, settings.SIGN_ON_SECRET = hospital.CLIENT, hospital.SECRET
        settings.SIGN_ON_ROLES = [
            Grant("feet", "podiatrist", site.short_name),
            Grant("feet-birch", "podiatrist", other_site.short_name),
            Grant("desk", "staff", site.short_name),
            Grant("heads", "manager", site.short_name),
            Grant("nowhere", "staff", "No such clinic"),
        ]
        one.claims = {
            "sub": "s-1",
            "preferred_username": "ada.example",
            "given_name": "Ada",
            "family_name": "Example",
            "groups": ["feet", "something else"],
        }
        yield one


def start(client, query=""):
    answer = client.get(reverse("sign_on") + query)
    assert answer.status_code == 302, answer.content
    where = urlsplit(answer["Location"])
    return {name: value[0] for name, value in parse_qs(where.query).items()}


def sign_on(client, provider, query=""):
    back = urlsplit(provider.authorize(start(client, query)))
    return client.get(f"{back.path}?{back.query}")


def nobody(client):
    return "_auth_user_id" not in client.session


def test_the_first_sign_on_makes_the_account_and_the_role_follows_the_groups(client, provider, site):
    answer = sign_on(client, provider)
    assert (answer.status_code, answer["Location"]) == (302, reverse("home"))
    user = User.objects.get(username="ada.example")
    assert (user.role, list(user.sites.all()), str(user)) == ("podiatrist", [site], "Ada Example")
    assert not user.has_usable_password()
    assert client.session["_auth_user_id"] == str(user.pk)
    assert SignIn.objects.filter(user=user).exists()
    assert AuditEvent.objects.filter(site_id=site.pk, target_kind="user", target_id=str(user.pk)).count() == 1
    assert client.get(reverse("today")).status_code == 200


def test_a_second_sign_on_finds_the_same_account_under_another_name(client, provider):
    sign_on(client, provider)
    client.logout()
    provider.claims["preferred_username"] = "ada.married"
    sign_on(client, provider)
    assert User.objects.filter(sign_on_subject=f"{provider.url} s-1").count() == 1


def test_role_and_clinics_follow_a_change_of_groups_and_the_change_is_audited(
    client, provider, site, other_site
):
    sign_on(client, provider)
    client.logout()
    provider.claims["groups"] = ["feet", "feet-birch"]
    sign_on(client, provider)
    user = User.objects.get(sign_on_subject__endswith=" s-1")
    assert set(user.sites.all()) == {site, other_site}
    assert AuditEvent.objects.filter(target_id=str(user.pk), target_kind="user", verb="changed").count() == 2
    client.logout()
    provider.claims["groups"] = ["desk"]
    sign_on(client, provider)
    user.refresh_from_db()
    assert (user.role, list(user.sites.all())) == ("staff", [site])


def test_the_next_page_is_one_of_ours_or_none(client, provider):
    assert sign_on(client, provider, "?next=/today/")["Location"] == "/today/"
    for bad in ("https://elsewhere.example.org/", "//elsewhere.example.org/x", "javascript:alert(1)"):
        client.logout()
        assert sign_on(client, provider, f"?next={bad}")["Location"] == reverse("home")


SPOILED = {
    "another nonce": lambda c: {**c, "nonce": "x"},
    "no nonce": lambda c: {k: v for k, v in c.items() if k != "nonce"},
    "another issuer": lambda c: {**c, "iss": "https://elsewhere.example.org"},
    "no issuer": lambda c: {k: v for k, v in c.items() if k != "iss"},
    "another audience": lambda c: {**c, "aud": "another-client"},
    "no audience": lambda c: {k: v for k, v in c.items() if k != "aud"},
    "run out": lambda c: {**c, "exp": c["iat"] - 3600, "iat": c["iat"] - 7200},
    "no end": lambda c: {k: v for k, v in c.items() if k != "exp"},
    "no subject": lambda c: {k: v for k, v in c.items() if k != "sub"},
}


@pytest.mark.parametrize("spoiled", SPOILED)
def test_a_token_that_is_not_for_this_sign_on_signs_nobody_in(client, provider, spoiled):
    provider.change = SPOILED[spoiled]
    answer = sign_on(client, provider)
    assert answer.status_code == 403
    assert nobody(client)
    assert not User.objects.filter(sign_on_subject__isnull=False).exists()


@pytest.mark.parametrize(
    ("header", "key"),
    [
        ({"alg": "none"}, hospital.KEY),
        ({"alg": "RS256", "kid": "one"}, hospital.STRANGER),
    ],
)
def test_a_token_that_the_provider_did_not_sign_signs_nobody_in(client, provider, header, key):
    provider.header, provider.key = header, key
    assert sign_on(client, provider).status_code == 403
    assert nobody(client)


@pytest.mark.parametrize(
    "query", ["", "?code=x", "?code=x&state=made-up", "?error=access_denied&state=x", "?state="]
)
def test_an_answer_that_nobody_asked_for_signs_nobody_in(client, provider, query):
    assert client.get(reverse("sign_on_back") + query).status_code == 403
    assert nobody(client)


def test_an_answer_cannot_be_used_twice_nor_in_another_browser(client, provider):
    from django.test import Client

    back = urlsplit(provider.authorize(start(client)))
    other = Client()
    assert other.get(f"{back.path}?{back.query}").status_code == 403
    assert client.get(f"{back.path}?{back.query}").status_code == 302
    client.logout()
    assert client.get(f"{back.path}?{back.query}").status_code == 403
    assert nobody(client)


@pytest.mark.parametrize("path", ["/.well-known/openid-configuration", "/token", "/keys"])
@pytest.mark.parametrize(
    "answer", [(500, "down"), (200, "not json"), (200, "{}"), (200, "[]"), (200, "null")]
)
def test_a_provider_that_is_down_or_answers_nonsense_is_one_page(client, provider, path, answer):
    provider.answer[path] = answer
    first = client.get(reverse("sign_on"))
    if first.status_code == 302:
        asked = {name: value[0] for name, value in parse_qs(urlsplit(first["Location"]).query).items()}
        back = urlsplit(provider.authorize(asked))
        first = client.get(f"{back.path}?{back.query}")
    assert first.status_code in (403, 503)
    assert "Sign in with a local account" in first.content.decode()
    assert nobody(client)


@pytest.mark.parametrize(
    ("groups", "words"),
    [
        ([], "none of its groups"),
        (["something else"], "none of its groups"),
        (None, "none of its groups"),
        ({"feet": 1}, ""),
        (["feet", "desk"], "2 roles"),
        (["nowhere"], "names a clinic that is not here"),
    ],
)
def test_groups_that_give_no_single_role_sign_nobody_in(client, provider, groups, words):
    provider.claims["groups"] = groups
    answer = sign_on(client, provider)
    if isinstance(groups, dict):
        # Names of a table are names of groups too: what counts is that no other shape raises.
        assert answer.status_code in (302, 403)
        return
    assert answer.status_code == 403
    assert words in answer.content.decode()
    assert nobody(client)


def test_a_local_account_of_the_same_name_is_not_taken_over(client, provider, site):
    local = factories.user("manager", at=site, username="Ada.Example")
    answer = sign_on(client, provider)
    assert answer.status_code == 403
    assert "A local account named" in answer.content.decode()
    local.refresh_from_db()
    assert (local.sign_on_subject, local.role) == (None, "manager")
    assert nobody(client)


def test_an_account_that_a_manager_stopped_stays_stopped(client, provider):
    sign_on(client, provider)
    client.logout()
    User.objects.filter(username="ada.example").update(is_active=False)
    assert sign_on(client, provider).status_code == 403
    assert nobody(client)


@pytest.mark.parametrize(
    ("amr", "lands"),
    [
        (["pwd", "mfa"], "today"),
        (["pwd"], "second_factor_enrol"),
        (None, "second_factor_enrol"),
        # A word where the standard has a list is no token of the standard's.
        ("mfa", "login"),
    ],
)
def test_the_second_factor_is_asked_unless_the_provider_says_it_was_given(client, provider, site, amr, lands):
    site.second_factor = True
    site.save()
    if amr is not None:
        provider.claims["amr"] = amr
    sign_on(client, provider)
    answer = client.get(reverse("today"))
    if lands == "today":
        assert answer.status_code == 200
    else:
        assert answer["Location"].startswith(reverse(lands))


ENROL = "second_factor_enrol"


def test_an_account_without_a_password_enrols_after_the_hospital_asked_again(client, provider, site):
    site.second_factor = True
    site.save()
    sign_on(client, provider)
    page = client.get(reverse(ENROL)).content.decode()
    assert "Key:" not in page
    assert f'href="{reverse("sign_on")}?next={reverse(ENROL)}"' in page
    for act in ({"act": "start"}, {"code": "123456"}):
        client.post(reverse(ENROL), act)
        assert not TOTPDevice.objects.exists()
    asked = start(client, f"?next={reverse(ENROL)}")
    assert (asked["prompt"], asked["max_age"]) == ("login", "0")
    back = urlsplit(provider.authorize(asked))
    answer = client.get(f"{back.path}?{back.query}")
    assert answer["Location"] == reverse(ENROL)
    shown = client.post(reverse(ENROL), {"act": "start"}).content.decode()
    device = TOTPDevice.objects.get(confirmed=False)
    assert "Key:" in shown
    done = client.post(reverse(ENROL), {"code": code_of(device)})
    assert "recovery codes" in done.content.decode().lower()
    assert User.objects.get(username="ada.example").second_factor
    assert client.get(reverse("today")).status_code == 200


@pytest.mark.parametrize(
    "told", [{}, {"auth_time": 1}, {"auth_time": 9e99}, {"auth_time": "now"}, {"auth_time": True}]
)
def test_a_sign_on_that_was_not_asked_anew_shows_no_key(client, provider, site, told):
    """A session of the hospital's that is open on a tablet gives nobody a second factor."""
    sign_on(client, provider)
    provider.change = lambda claims: {**{k: v for k, v in claims.items() if k != "auth_time"}, **told}
    sign_on(client, provider)
    client.post(reverse(ENROL), {"act": "start"})
    assert not TOTPDevice.objects.exists()


def test_an_account_without_a_password_ends_another_sign_in_after_the_hospital_asked_again(client, provider):
    sign_on(client, provider)
    other = Client()
    sign_on(other, provider)
    page = client.get(reverse("me")).content.decode()
    assert f'href="{reverse("sign_on")}?next={reverse("me")}"' in page
    refused = client.post(reverse("sign_out_other"), {"sign_in": "others"})
    assert refused.status_code == 422
    assert "nothing was ended" in refused.content.decode()
    assert other.get(reverse("me")).status_code == 200
    sign_on(client, provider, f"?next={reverse('me')}")
    ended = client.post(reverse("sign_out_other"), {"sign_in": "others"})
    assert (ended.status_code, ended["Location"]) == (302, reverse("me"))
    assert other.get(reverse("me")).status_code == 302


def test_a_local_account_does_not_pass_the_question_by_a_sign_on(client, provider, podiatrist):
    client.force_login(podiatrist)
    assert client.get(reverse("sign_on"))["Location"] == reverse("home")
    session = client.session
    session["asked_at"] = int(time.time())
    session.save()
    client.post(reverse(ENROL), {"act": "start"})
    assert not TOTPDevice.objects.exists()


def test_a_local_account_signs_in_while_the_provider_is_down(client, provider, site):
    provider.answer["/.well-known/openid-configuration"] = (500, "down")
    factories.user("manager", at=site, username="emergency", password="correct horse battery")
    page = client.get(reverse("login")).content.decode()
    assert "Sign in with the hospital's account" in page.replace("&#x27;", "'")
    sent = {"username": "emergency", "password": "correct horse battery"}
    assert client.post(reverse("login"), sent).status_code == 302
    assert not nobody(client)


def test_no_link_gives_a_hospital_account_a_password_here(client, provider, site, manager):
    from clinic.accounts.writes.accounts import account_reset
    from clinic.record.errors import Refused

    sign_on(client, provider)
    with pytest.raises(Refused, match="hospital"):
        account_reset(by=manager, user=User.objects.get(username="ada.example"))


def test_without_a_provider_there_is_no_such_page(client, settings):
    settings.SIGN_ON_ISSUER = ""
    assert client.get(reverse("sign_on")).status_code == 404
    assert client.get(reverse("sign_on_back")).status_code == 404
    assert "hospital" not in client.get(reverse("login")).content.decode()
