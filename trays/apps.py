"""The physical world, as one Django app."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class TraysConfig(AppConfig):
    name = "trays"
    verbose_name = "Trays"

    def ready(self) -> None:
        import trays.loans.guards  # noqa: F401  registers the laws kept by triggers
        import trays.orders.guards  # noqa: F401  registers the laws kept by triggers
        import trays.processing.guards  # noqa: F401  registers the laws kept by triggers
        import trays.stock.guards  # noqa: F401  the same
        from trays.ledger.guards import install_after_migrate, stand_aside_before_migrate

        pre_migrate.connect(stand_aside_before_migrate, sender=self)
        post_migrate.connect(install_after_migrate, sender=self)
