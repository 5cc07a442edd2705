"""Routes of this room."""

from django.urls import path

from clinic.relief.views import imprints, insole_outlines, measured_maps, plan_life, relief, taking_back

urlpatterns = [
    path("limbs/<int:limb>/bench/", relief.bench, name="bench"),
    path("limbs/<int:limb>/bench/preview/", relief.bench_preview, name="bench_preview"),
    path("limbs/<int:limb>/maps/", measured_maps.measured_maps, name="measured_maps"),
    path("maps/<int:measured_map>/", measured_maps.measured_map, name="measured_map"),
    path("maps/<int:measured_map>/withdraw/", measured_maps.map_withdraw, name="map_withdraw"),
    path("scales/<int:scale>/imprint/", imprints.imprint_place, name="imprint_place"),
    path("limbs/<int:limb>/insole/", insole_outlines.insole_outline, name="insole_outline"),
    path("scales/<int:scale>/insole/", insole_outlines.insole_from_photo, name="insole_from_photo"),
    path(
        "insoles/<int:insole_outline>/withdraw/",
        insole_outlines.insole_outline_withdraw,
        name="insole_outline_withdraw",
    ),
    path("lesions/<int:lesion>/imprint/", imprints.imprint_new, name="imprint_new"),
    path("plans/predictions/", plan_life.predictions, name="predictions"),
    path("plans/<str:code>/", relief.plan, name="plan"),
    path("plans/flags/<int:plan_flag>/", plan_life.plan_flag_answer, name="plan_flag_answer"),
    path(
        "plans/flags/<int:plan_flag>/take-back/",
        taking_back.plan_flag_answer_take_back,
        name="plan_flag_answer_take_back",
    ),
    path(
        "plans/<str:code>/steps/<int:step>/take-back/",
        taking_back.plan_step_take_back,
        name="plan_step_take_back",
    ),
    path("plans/<str:code>/cut/", plan_life.plan_cut, name="plan_cut"),
    path("plans/<str:code>/fit/", plan_life.plan_fit, name="plan_fit"),
    path("plans/<str:code>/contact/", plan_life.plan_contact, name="plan_contact"),
    path("plans/<str:code>/measured/", plan_life.plan_measured, name="plan_measured"),
    path("plans/<str:code>/set-aside/", plan_life.plan_set_aside, name="plan_set_aside"),
    path("plans/<str:code>/sign/", relief.sign_plan, name="plan_sign"),
    path("plans/<str:code>/sheet-<str:paper>.pdf", relief.plan_pdf, name="plan_pdf"),
    path("plans/<str:code>/sheet.svg", relief.plan_svg, name="plan_svg"),
    path("plans/<str:code>/sheet.dxf", relief.plan_dxf, name="plan_dxf"),
]
