"""A stores office at work: orders at every stage, and people who can sign."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

import pytest
from django.contrib.auth.hashers import make_password

from tests.world import NOW, World
from trays.catalogue.models import Component
from trays.orders.documents import papers_of
from trays.orders.models import Order, OrderLine
from trays.orders.services import (
    LineAnswer,
    OrderWish,
    order_approve,
    order_confirm,
    order_draft,
    order_send,
)
from trays.parties.models import Party
from trays.staff.models import Person
from trays.staff.signing import Signer, signer

PIN = "4820"


@dataclass
class Office:
    """Ordering at the world's first site."""

    world: World

    @property
    def stores(self) -> Person:
        return self.world.cast.stores

    @property
    def femoral(self) -> Component:
        return self.world.component("femoral", "2", side="left")

    @property
    def tibial(self) -> Component:
        return self.world.component("tibial", "3")

    def sign_as(self, person: Person | None = None) -> Signer:
        return signer(person=person or self.stores, pin=PIN)

    def wish(self, quantity: int = 2, *, cause: str = "", **more: Any) -> OrderWish:
        return OrderWish(more.pop("component", self.femoral), quantity, cause=cause, **more)

    def draft(self, *wishes: OrderWish, kind: str = "stock", at: datetime = NOW, **more: Any) -> Order:
        lines: Sequence[OrderWish] = wishes or [self.wish()]
        return order_draft(
            by=self.stores, site=self.world.site, supplier=self.world.supplier, kind=kind, lines=lines, at=at,
            **more,
        )  # fmt: skip

    def approved(self, *wishes: OrderWish, **more: Any) -> Order:
        return order_approve(by=self.sign_as(), order=self.draft(*wishes, **more), at=NOW)

    def sent(self, *wishes: OrderWish, **more: Any) -> Order:
        order = self.approved(*wishes, **more)
        return order_send(by=self.stores, order=order, way="mail", papers=papers_of(order), at=NOW)

    def confirmed(self, *wishes: OrderWish, **more: Any) -> Order:
        order = self.sent(*wishes, **more)
        answers = [LineAnswer(line.pk, line.quantity) for line in order.lines.all()]
        return order_confirm(by=self.stores, order=order, answers=answers, at=NOW)

    @staticmethod
    def line(order: Order, number: int = 1) -> OrderLine:
        return order.lines.select_related("order", "component").get(number=number)


@pytest.fixture
def office(world: World) -> Office:
    Component.objects.update(price=Decimal("412.50"))
    Component.objects.filter(code="swab-5").update(price=Decimal("0.30"), order_multiple=10)
    for component in world.components.values():
        component.refresh_from_db()
    Party.objects.filter(pk=world.supplier.pk).update(gln="9524001000018", country="GB")
    Party.objects.filter(pk=world.hospital.pk).update(gln="9524000000019", country="GB")
    for party in (world.supplier, world.hospital):
        party.refresh_from_db()
    type(world.site).objects.filter(pk=world.site.pk).update(gln="9524000000026")
    world.site.refresh_from_db()
    for person in (world.cast.stores, world.cast.quality, world.cast.coordinator):
        person.pin = make_password(PIN)
        person.save()
    return Office(world)
