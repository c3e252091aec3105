"""A store with shelves at two sites, its people with PINs, and short words for what they do all day."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.hashers import make_password

from tests.world import NOW, TODAY, World, make_world
from trays.catalogue.models import Component
from trays.parties.models import Tenure
from trays.places.models import Place
from trays.staff.models import Person, Role
from trays.staff.signing import Signer, signer
from trays.stock.models import Unit
from trays.stock.services import Goods, unit_receive
from trays.stock.verify import stock_faults

PIN = "4711"


@dataclass
class Store:
    """Two shelves here, one at the far site, and who works there."""

    world: World
    by: Person
    quality: Person
    far_by: Person
    other: Place
    far: Place
    sound: bool = True

    def goods(self, **changes: Any) -> Goods:
        """Femoral 2 left, lot L77, the hospital's own; or otherwise."""
        given: dict[str, Any] = {
            "component": self.component("femoral", "2", side="left"), "owner": self.world.hospital,
            "tenure": Tenure.OWNED, "place": self.world.shelf, "lot": "L77",
            "expires": TODAY + timedelta(days=300),
        }  # fmt: skip
        return Goods(**{**given, **changes})

    def component(self, slot: str, size: str, **more: Any) -> Component:
        return self.world.component(slot, size, **more)

    def units(self, count: int = 1, **changes: Any) -> list[Unit]:
        """So many units received on the shelf, through the service: the record holds them."""
        changes.setdefault("serial", "")
        condition = changes.pop("condition", "good")
        return unit_receive(
            by=self.by, site=self.world.site, goods=self.goods(**changes), count=count, at=NOW,
            condition=condition,
        )  # fmt: skip

    def consigned(self, count: int = 1, **changes: Any) -> list[Unit]:
        return self.units(count, owner=self.world.supplier, tenure=Tenure.CONSIGNED, **changes)

    def signs(self, person: Person) -> Signer:
        return signer(person=Person.objects.get(pk=person.pk), pin=PIN)

    def states(self, units: list[Unit]) -> list[str]:
        found = dict(Unit.objects.filter(pk__in=[unit.pk for unit in units]).values_list("pk", "state"))
        return [found[unit.pk] for unit in units]


@pytest.fixture
def store(db: None) -> Any:
    """The store; after the test stock still is the sum of its lines."""
    world = make_world()
    for pile in world.shelf.piles.all():
        pile.delete()
    far_by = Person.objects.create(username="far-stores", name="F. Stores", password="!")
    Role.objects.create(person=far_by, kind=Role.Kind.STORES, site=world.far_site)
    Person.objects.update(pin=make_password(PIN))
    made = Store(
        world=world,
        by=Person.objects.get(pk=world.cast.stores.pk),
        quality=Person.objects.get(pk=world.cast.quality.pk),
        far_by=Person.objects.get(pk=far_by.pk),
        other=Place.objects.create(site=world.site, code="S2", name="Shelf 2", kind="shelf", walk=11),
        far=Place.objects.create(site=world.far_site, code="F1", name="Far shelf", kind="shelf", walk=1),
    )
    yield made
    if made.sound:
        assert stock_faults() == []
