"""The URL map: where the pages and the API of the apps are put together, each named as a string."""

from __future__ import annotations

from django.conf import settings
from django.contrib import admin
from django.contrib.auth import views as auth
from django.urls import URLPattern, URLResolver, include, path
from drf_spectacular.views import SpectacularAPIView

from shared.api_docs import ApiDocsView
from shared.views.api_me import Me, SignInToken
from shared.views.health import health
from shared.views.home import home
from shared.views.offline import app_manifest, offline, worker
from shared.web.views import specimen

TEAM_PAGES = [
    path("", include("compliance.urls")),
    path("", include("compliance.battery_urls")),
    path("", include("compliance.robot_urls")),
    path("", include("compliance.event_urls")),
    path("", include("compliance.rotation_urls")),
    path("", include("inventory.urls")),
    path("", include("builds.urls")),
    path("", include("shared.page_urls")),
]
TEAM_API = [
    path("", include("inventory.api.urls")),
    path("", include("builds.api.urls")),
    path("", include("compliance.api.urls")),
    path("", include("shared.api_urls")),
]
ACCOUNTS = [
    path("login/", auth.LoginView.as_view(), name="login"),
    path("logout/", auth.LogoutView.as_view(), name="logout"),
    path("password/", auth.PasswordChangeView.as_view(), name="password_change"),
    path("password/done/", auth.PasswordChangeDoneView.as_view(), name="password_change_done"),
]
urlpatterns: list[URLPattern | URLResolver] = [
    path("", home, name="home"),
    path("healthz", health, name="health"),
    path("worker.js", worker, name="worker"),
    path("offline/", offline, name="offline"),
    path("app.webmanifest", app_manifest, name="app-manifest"),
    path("accounts/", include(ACCOUNTS)),
    path("t/<slug:team>/", include(TEAM_PAGES)),
    path("api/v1/me/", Me.as_view(), name="api-me"),
    path("api/v1/token/", SignInToken.as_view(), name="api-token"),
    path("api/v1/t/<slug:team>/", include(TEAM_API)),
    path("api/schema/", SpectacularAPIView.as_view(), name="schema"),
    path("api/docs/", ApiDocsView.as_view(), name="api-docs"),
    path("admin/", admin.site.urls),
]
if settings.DEBUG:
    urlpatterns.append(path("specimen/", specimen, name="specimen"))
