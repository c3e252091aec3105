"""One address: what it needs to be opened, and which roles get in."""

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Door:
    """`kwargs` and `post` name things that `furnish` makes; `open` needs no sign-in.

    `json`: what is sent is one JSON text. `elsewhere` are people with the right role at another site: for
    them the row is not there. What can be done `once` is refused by its state (not by the role) to whoever
    comes second.
    """

    roles: frozenset[str] | set[str]
    kwargs: dict[str, str] = field(default_factory=dict)
    post: dict[str, str] | None = None
    open: bool = False
    json: bool = False
    elsewhere: frozenset[str] | set[str] = frozenset()
    once: bool = False
