from django.apps import AppConfig


class SharedConfig(AppConfig):
    name = "shared"
    verbose_name = "People, teams and jobs"

    def ready(self) -> None:
        # Once apps are loaded: the checks register themselves, and the Celery application becomes the current
        # one, so that a page which queues a job speaks to the configured broker.
        from shared import celery, checks  # noqa: F401, PLC0415
