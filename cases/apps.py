"""The intent, as one Django app."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class CasesConfig(AppConfig):
    name = "cases"
    verbose_name = "Cases"

    def ready(self) -> None:
        import cases.bookings.guards  # registers the laws kept by triggers
        import cases.counts.guards
        import cases.desks.labels  # brings its kinds of labels
        import cases.reorders.guards  # keeps what was made of a plan
        import cases.reservations.claims  # says for whom units are kept
        import cases.reservations.guards
        import cases.usage.guards  # noqa: F401  keeps what was recorded of implants
        from trays.ledger.guards import install_after_migrate

        post_migrate.connect(install_after_migrate, sender=self)
