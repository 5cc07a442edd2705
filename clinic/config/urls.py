"""The composition root's routes: signing in, and the clinic's own. The admin site is not mounted."""

from django.contrib.auth import views as auth_views
from django.urls import include, path

urlpatterns = [
    path(
        "sign-in/",
        auth_views.LoginView.as_view(redirect_authenticated_user=True),
        name="login",
    ),
    path("sign-out/", auth_views.LogoutView.as_view(), name="logout"),
    path("", include("clinic.urls")),
]
