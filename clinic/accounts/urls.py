"""Routes of this room."""

from django.urls import path

from clinic.accounts.views import (
    accounts,
    breakglass,
    checks,
    doctor,
    erasure,
    health,
    problems,
    sessions,
    settings_page,
    sign_on,
    watch,
)

urlpatterns = [
    path("sign-in/", sessions.sign_in, name="login"),
    path("sign-on/", sign_on.sign_on, name="sign_on"),
    path("sign-on/back/", sign_on.sign_on_back, name="sign_on_back"),
    path("switch-user/", sessions.switch_user, name="switch_user"),
    path("second-factor/", sessions.second_factor, name="second_factor"),
    path("second-factor/enrol/", sessions.second_factor_enrol, name="second_factor_enrol"),
    path("me/", sessions.me, name="me"),
    path("me/sign-ins/end/", sessions.sign_out_other, name="sign_out_other"),
    path("account-link/<str:token>/", accounts.account_link, name="account_link"),
    path("accounts/", accounts.accounts, name="accounts"),
    path("accounts/new/", accounts.account_new, name="account_new"),
    path("accounts/watch/", watch.access_watch, name="access_watch"),
    path("accounts/<int:account>/", accounts.account, name="account"),
    path("settings/", settings_page.settings_page, name="settings"),
    path("settings/checks/", checks.record_checks, name="record_checks"),
    path("settings/running/", doctor.doctor, name="doctor"),
    path("break-glass/", breakglass.break_glass, name="break_glass"),
    path("break-glass/<int:glass>/seen/", breakglass.glass_noticed, name="glass_noticed"),
    path("people/<int:person>/rights/", erasure.person_rights, name="person_rights"),
    path("people/<int:person>/rights/copy/", erasure.person_copy, name="person_copy"),
    path("problems/new/", problems.problem_new, name="problem_new"),
    path("problems/<int:problem>/settled/", problems.problem_settled, name="problem_settled"),
    path("health/", health.health, name="health"),
]
