"""Addresses of accounts; included at the root by the project."""

from django.urls import path

from accounts.web import style, views

urlpatterns = [
    path("sign-in/", views.SignIn.as_view(), name="sign-in"),
    path("sign-out/", views.SignOut.as_view(), name="sign-out"),
    path("profile/", views.Profile.as_view(), name="profile"),
    path("profile/password/", views.ChangePassword.as_view(), name="password-change"),
    path("style/", style.show_style, name="style"),
]
