"""Every address with every role: who gets the page, who is refused; an address not listed here fails."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from tests.boundaries.doors import DOORS, knock
from tests.world import World

REFUSED = {403, 404}
# Whoever comes second is let in, and told that it is done.
DONE_ALREADY = {409, 422}


def addresses(resolver: URLResolver | None = None) -> Iterator[URLPattern]:
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver):
            yield from addresses(entry)
        else:
            yield entry


def test_every_address_has_a_name_and_is_listed() -> None:
    names = [pattern.name for pattern in addresses()]
    assert None not in names
    assert sorted(set(names)) == sorted(DOORS)


@pytest.mark.parametrize("name", sorted(DOORS))
def test_each_role_gets_the_page_or_is_refused(
    name: str, world: World, client_of: Callable[[str], Client], furnished: dict[str, Any]
) -> None:
    door = DOORS[name]
    url = reverse(name, kwargs={key: furnished[what] for key, what in door.kwargs.items()})
    for who in world.cast.by_role():
        status = knock(client_of(who), door, url, furnished).status_code
        if who in door.roles:
            let_in = status < 400 or (door.once and status in DONE_ALREADY)
            assert let_in, f"{who} should get {url}, got {status}"
        elif door.elsewhere and who in door.elsewhere:
            assert status in REFUSED, f"{who} should not see {url} of another site, got {status}"
        else:
            assert status in REFUSED, f"{who} should be refused {url}, got {status}"


@pytest.mark.parametrize("name", sorted(DOORS))
def test_without_signing_in_there_is_only_the_sign_in_page(
    name: str, world: World, furnished: dict[str, Any]
) -> None:
    door = DOORS[name]
    url = reverse(name, kwargs={key: furnished[what] for key, what in door.kwargs.items()})
    answer = knock(Client(), door, url, furnished)
    if door.open:
        assert answer.status_code < 400
    else:
        assert answer.status_code == 302
        assert answer["Location"].startswith(reverse("sign-in"))


@pytest.mark.parametrize("name", sorted(name for name, door in DOORS.items() if door.post is not None))
def test_an_act_is_not_done_by_following_a_link(name: str, world: World, furnished: dict[str, Any]) -> None:
    door = DOORS[name]
    url = reverse(name, kwargs={key: furnished[what] for key, what in door.kwargs.items()})
    client = Client()
    client.force_login(world.cast.keeper, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get(url).status_code in {405, 302}
