"""What is answered from Today is taken back from there the same day, and stands on Today again as before."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import resolve, reverse
from django.utils import timezone

from clinic.alerts.writes.antibiotics import antibiotic_stop
from clinic.alerts.writes.contacts import contact_log
from clinic.alerts.writes.flags import flag_answer
from clinic.models import AntibioticCourse, AuditEvent, Contact, DangerOwner, Person, PlanFlag, Visit
from clinic.week.reads.answered import ANSWERS, answered_on
from clinic.week.reads.by_person import people_of_today
from clinic.week.reads.today import today_lists
from tests import factories, factories_care
from tests.clinic.fields.cases_relief import drafted
from tests.clinic.fields.scenes import SEALED, watch_point, worn
from tests.clinic.week.views.test_today import due

pytestmark = pytest.mark.django_db

TODAY = timezone.localdate
KEY = "6f1b2f2e-7a35-4a8e-9d0c-0d7c3f0b1a11"


def asked(site, person):
    """Everything Today asks of somebody, and where: what taking back restores."""
    lists = today_lists(site, TODAY())
    return {
        (group, ask.url_name, ask.pk)
        for group, people in people_of_today(lists).items()
        for one in people
        if one.person.pk == person.pk
        for ask in (*(ask for item in one.items for ask in item.asks), *filter(None, [one.visit]))
    }


def told_of(who):
    """What the record says of their antibiotics and of who has their dangers: as before, once taken back."""
    courses = AntibioticCourse.objects.filter(lesion__limb__person=who)
    owners = DangerOwner.objects.standing().filter(limb__person=who)
    columns = [field.name for field in AntibioticCourse._meta.fields if field.name != "version"]
    return list(courses.order_by("pk").values(*columns)), list(owners.order_by("pk").values())


def flag(site, who, by):
    row = factories.red_flag(of=who)
    return "flag_answer", row.pk, {"version": 1, "answer": "not_a_flag", "answer_note": "old scar"}


def call(site, who, by):
    row = factories.call(of=who)
    return "call_answer", row.pk, {"version": 1, "done": "advised", "done_note": "pad moved"}


def attempt(site, who, by):
    factories.visit(of=who, on=TODAY() - timedelta(days=2), attendance="did_not_come", next_on=None)
    Visit.objects.filter(person=who).update(next_on=TODAY() - timedelta(days=1))
    data = {"how": "telephone", "result": "reached", "next_on": (TODAY() + timedelta(days=3)).isoformat()}
    return "contact_new", who.pk, data


def referral(site, who, by):
    made = timezone.now() - timedelta(days=9)
    row = who.referrals.create(
        to="vascular", urgency="immediate", because="test", made_at=made, created_by=by
    )
    row.history.update(history_user=by)
    return "referral", row.pk, {"version": 1, "reached_at": f"{timezone.localtime():%Y-%m-%dT%H:%M}"}


def result(site, who, by):
    row = factories_care.result(of=who, result_on=TODAY(), value=12, reading="unclear")
    return "result_seen", row.pk, {"version": 1, "follows": "again in a week"}


def look(site, who, by):
    lesion = who.limbs.get().lesions.get()
    row = lesion.looks.create(
        asked_at=timezone.now(),
        question="deeper?",
        answer="no",
        answered_at=timezone.now(),
        answered_by=by,
        created_by=by,
    )
    return "look_read", row.pk, {}


def device(site, who, by):
    row = worn(who.limbs.get().lesions.get(), "walker_non_removable", **SEALED)
    return "prescription_open", row.pk, {"version": 1, "opened_on": TODAY().isoformat()}


def plan(site, who, by):
    link = watch_point(who.limbs.get().lesions.get()).limb_plan
    row = PlanFlag.objects.create(
        limb_plan=link, cause="contact", words="test", raised_on=TODAY(), created_by=by
    )
    return "plan_flag_answer", row.pk, {"version": 1, "answer": "looked at it"}


def seen(site, who, by):
    head = f"lesion-{who.limbs.get().lesions.get().pk}-"
    data = {f"{head}length_mm": "15", f"{head}width_mm": "10", f"{head}debridement": "before"}
    data |= {"submission_key": KEY, "visited_on": TODAY().isoformat(), "red_flags": ["none"], "next_in": "7"}
    return "visit_new", who.pk, data


def finished(site, who, by):
    url, pk, data = seen(site, who, by)
    row = factories.visit(of=who, on=TODAY(), next_on=None, unfinished=True)
    return "visit_finish", row.pk, {**data, "version": 1}


def missed(site, who, by):
    data = {
        "submission_key": KEY,
        "visited_on": TODAY().isoformat(),
        "attendance": "did_not_come",
        "next_in": "7",
    }
    return "visit_missed", who.pk, data


def team(site, who, by):
    limb = who.limbs.get()
    factories.finding(of=limb, toe_pressure_mmhg=22)
    past = TODAY() - timedelta(days=1)
    factories.danger_owner(of=limb, taken_on=TODAY() - timedelta(days=20), next_on=past)
    data = {"danger": "ischaemia", "team": "city hospital"}
    return "dangers", limb.pk, {**data, "next_on": (TODAY() + timedelta(days=9)).isoformat()}


def course(site, who, by, **fields):
    row = factories_care.antibiotic(of=who.limbs.get().lesions.get(), **fields)
    names = ("drug", "dose", "route", "decided_by", "why")
    data = {name: getattr(row, name) for name in names} | {"because": "the ward said so", "version": 1}
    data["started_on"] = row.started_on.isoformat()
    return row, data


def stopped(site, who, by):
    row, _ = course(site, who, by)
    return (
        "antibiotic_stop",
        row.pk,
        {"version": 1, "stopped_on": TODAY().isoformat(), "stop_reason": "completed"},
    )


def prolonged(site, who, by):
    row, data = course(site, who, by)
    return "antibiotic_edit", row.pk, {**data, "planned_end_on": (TODAY() + timedelta(days=4)).isoformat()}


def shortened(site, who, by):
    row, data = course(site, who, by, planned_end_on=TODAY() + timedelta(days=4))
    return "antibiotic_edit", row.pk, {**data, "planned_end_on": TODAY().isoformat()}


SCENES = {
    ("answered", "redflag"): flag,
    ("answered", "incomingcall"): call,
    ("tried to reach", "contact"): attempt,
    ("followed up", "referral"): referral,
    ("saw", "result"): result,
    ("read", "look"): look,
    ("opened", "prescription"): device,
    ("answered", "planflag"): plan,
    ("logged", "visit"): seen,
    ("finished", "visit"): finished,
    ("missed", "visit"): missed,
    ("gave a danger to", "dangerowner"): team,
    ("stopped", "antibioticcourse"): stopped,
    ("prolonged", "antibioticcourse"): prolonged,
    ("corrected", "antibioticcourse"): shortened,
}


def against_danger(who, **fields):
    return factories.prescription(of=who.limbs.get(), second_needed=True, overriding=True, **fields)


def second(site, who, by):
    return (
        "prescription_second",
        factories.prescription(of=who.limbs.get(), second_needed=True).pk,
        {"version": 1},
    )


def telephone(site, who, by):
    told = {"second_name": "Dr Ines Falk", "second_role": "surgeon on call", "second_telephone": "000 4455"}
    now = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    return "second_telephone", against_danger(who).pk, {"version": 1, "spoken_at": now, **told}


def confirmed(site, who, by):
    told = {"second_name": "Dr Ines Falk", "second_role": "surgeon on call", "second_telephone": "000 4455"}
    row = against_danger(who, second_at=timezone.now(), **told)
    return "second_confirm", row.pk, {"version": 1, "second_confirmed_how": "letter of today"}


def drawn(site, who, by):
    factories.weight(of=who, kg=82)
    _, made = drafted(site, by, who.limbs.get().lesions.get())
    return "plan_sign", made.plan.code, {"version": made.plan.version, "shut_reason": "measured next"}


#: What is not taken back, but followed by something else.
STAY = {
    ("signed", "limbplan"): drawn,
    ("countersigned", "prescription"): second,
    ("signed second by telephone", "prescription"): telephone,
    ("confirmed", "prescription"): confirmed,
}


def offered(client, url):
    return url in client.get(reverse("today")).content.decode()


@pytest.mark.parametrize("kind", SCENES, ids=lambda kind: " ".join(kind).replace(" ", "-"))
def test_an_answer_of_today_is_taken_back_from_today(as_podiatrist, podiatrist, site, kind):
    who = due(site)
    route, pk, data = SCENES[kind](site, who, podiatrist)
    before = asked(site, who)
    shown = told_of(who)
    answer = as_podiatrist.post(reverse(route, args=[pk]), data)
    assert answer.status_code == 302, answer.context["form"].errors if answer.context else answer
    assert asked(site, who) != before
    event = AuditEvent.objects.filter(verb=kind[0], target_kind=kind[1]).get()
    url = reverse(ANSWERS[kind].url_name, args=[event.target_id])
    # In the message after it, but that of a visit, and in the person's row.
    ways = as_podiatrist.get(reverse("today")).content.decode().count(f'href="{url}"')
    assert ways == (1 if kind[1] == "visit" else 2)
    assert offered(as_podiatrist, url)
    assert resolve(url).func.ability == ANSWERS[kind].ability
    # Yesterday's is not of this morning.
    AuditEvent.objects.filter(pk=event.pk).update(at=timezone.now() - timedelta(days=1))
    assert not offered(as_podiatrist, url)
    AuditEvent.objects.filter(pk=event.pk).update(at=event.at)
    page = as_podiatrist.get(url)
    version = page.context["form"].initial["version"]
    form = {"reason": "the wrong patient", "version": version}
    form |= {one.name: "back" for one in getattr(page.context["form"], "answers", [])}
    assert as_podiatrist.post(url, form).status_code == 302
    if kind != ("finished", "visit"):  # it was begun already: taken back whole
        assert asked(site, who) == before
        assert told_of(who) == shown
    assert not offered(as_podiatrist, url)
    assert as_podiatrist.post(url, form).status_code in (404, 422), "taken back once"


def test_every_kind_of_answer_has_a_scene():
    assert set(SCENES) | set(STAY) == set(ANSWERS)
    assert {kind for kind, answer in ANSWERS.items() if answer.stays} == set(STAY)


@pytest.mark.parametrize("kind", STAY, ids=lambda kind: " ".join(kind).replace(" ", "-"))
def test_a_signature_is_not_taken_back_and_its_row_says_what_is_done_instead(
    as_podiatrist, podiatrist, site, kind
):
    who = due(site)
    route, pk, data = STAY[kind](site, who, podiatrist)
    answer = as_podiatrist.post(reverse(route, args=[pk]), data)
    assert answer.status_code == 302, answer.content.decode()
    event = AuditEvent.objects.filter(verb=kind[0], target_kind=kind[1]).get()
    told = ANSWERS[kind]
    url = reverse(told.url_name, args=[pk])
    rows = people_of_today(today_lists(site, TODAY()), answered_on(site, TODAY(), [told.ability]))
    (one,) = [one for people in rows.values() for one in people if one.person.pk == who.pk]
    assert [(done.answer, done.pk) for done in one.answered] == [(told, pk)]
    page = as_podiatrist.get(reverse("today")).content.decode()
    assert f"{told.words} at" in page
    assert told.stays in page
    assert offered(as_podiatrist, url)
    assert as_podiatrist.get(url).status_code == 200
    assert ">Take back<" not in page
    AuditEvent.objects.filter(pk=event.pk).update(at=timezone.now() - timedelta(days=1))
    assert told.stays not in as_podiatrist.get(reverse("today")).content.decode()


def test_a_team_that_a_flag_s_answer_named_goes_back_with_that_answer_only(as_staff, staff, site):
    who = due(site)
    limb = who.limbs.get()
    factories.finding(of=limb, toe_pressure_mmhg=22)
    flag_row = factories.red_flag(of=who, flags=["severe_ischaemia"])
    told = {"answer": "known", "note": "called them", "under": "vascular team"}
    flag_answer(by=staff, flag=flag_row, until=TODAY() + timedelta(days=9), expected_version=1, **told)
    owner = DangerOwner.objects.standing().get(limb=limb)
    url = reverse("danger_take_back", args=[owner.pk])
    assert not offered(as_staff, url)
    assert url not in as_staff.get(reverse("dangers", args=[limb.pk])).content.decode()
    answer = as_staff.post(url, {"reason": "wrong team", "version": owner.version})
    assert answer.status_code == 422
    assert "take that answer back" in answer.content.decode()
    assert DangerOwner.objects.standing().get(limb=limb) == owner
    as_staff.post(
        reverse("flag_answer_take_back", args=[flag_row.pk]), {"reason": "wrong team", "version": 2}
    )
    assert not DangerOwner.objects.standing().exists()


def test_the_course_of_somebody_who_left_is_not_set_running_again(as_staff, staff, site):
    who = due(site)
    row = factories_care.antibiotic(of=who.limbs.get().lesions.get())
    antibiotic_stop(by=staff, course=row, stopped_on=TODAY(), stop_reason="left", expected_version=1)
    Person.objects.filter(pk=who.pk).update(state="died", state_on=TODAY())
    url = reverse("antibiotic_step_take_back", args=[row.pk])
    answer = as_staff.post(url, {"reason": "wrong patient", "version": 2})
    assert answer.status_code == 422
    row.refresh_from_db()
    assert row.stopped_on == TODAY()


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_of_two_contacts_that_agreed_dates_both_taken_back_give_the_first_date_back(
    as_staff, staff, site, order
):
    who, days = due(site), [TODAY() + timedelta(days=n) for n in (3, 5)]
    agreed = who.visits.order_by("-visited_on")
    before = agreed[0].next_on
    made = [contact_log(by=staff, person=who, how="telephone", result="reached", next_on=day) for day in days]
    stands = {0: days[1], 1: days[0]}[order[0]]
    for place, then in zip(order, (stands, before), strict=True):
        row = Contact.objects.get(pk=made[place].pk)
        url = reverse("contact_take_back", args=[row.pk])
        as_staff.post(url, {"reason": "wrong", "version": row.version})
        assert agreed[0].next_on == then
    assert not Contact.objects.standing().exists()


def test_what_was_answered_adds_no_query_a_row(as_staff, staff, site):
    def count():
        with CaptureQueriesContext(connection) as caught:
            as_staff.get(reverse("today"))
        return len(caught)

    def answered():
        contact_log(by=staff, person=due(site), how="telephone", result="reached")

    answered()
    count()
    few = count()
    for _ in range(5):
        answered()
    assert count() == few
