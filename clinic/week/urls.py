"""Routes of this room."""

from django.urls import path

from clinic.week.views import home, review, today

urlpatterns = [
    path("", home.home, name="home"),
    path("today/", today.today, name="today"),
    path("today/people/<int:person>/mark/", today.day_mark, name="day_mark"),
    path("today/preparation/", today.clinic_preparation, name="clinic_preparation"),
    path("today/paper/", today.paper_entry, name="paper_entry"),
    path("today/downtime/", today.downtime, name="downtime"),
    path("review/", review.review, name="review"),
    path("review/lesions/<int:lesion>/note/", review.review_note, name="review_note"),
]
