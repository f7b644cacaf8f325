"""App configuration of the design system."""

from django.apps import AppConfig


class WebConfig(AppConfig):
    """Templates, tags, charts and static files that every page shares; holds no models."""

    name = "shared.web"
    label = "web"
    verbose_name = "Loadstock pages"
