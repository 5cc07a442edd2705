"""Routes of this room."""

from django.urls import path

from clinic.curves import views as curves

urlpatterns = [
    path("people/<int:person>/curves/", curves.person_curves_page, name="person_curves"),
    path("people/<int:person>/curves.svg", curves.person_curves_chart, name="person_curves_chart"),
    path("lesions/<int:lesion>/chart.svg", curves.lesion_chart, name="lesion_chart"),
    path("lesions/<int:lesion>/compare/", curves.lesion_compare, name="lesion_compare"),
    path("lesions/<int:lesion>/compare.svg", curves.lesion_compare_chart, name="lesion_compare_chart"),
]
