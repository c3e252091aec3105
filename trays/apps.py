"""The physical world, as one Django app."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class TraysConfig(AppConfig):
    name = "trays"
    verbose_name = "Trays"

    def ready(self) -> None:
        import trays.processing.guards  # noqa: F401  registers the laws kept by triggers
        from trays.ledger.guards import install_after_migrate

        post_migrate.connect(install_after_migrate, sender=self)
