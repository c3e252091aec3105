"""A pack's weight against the site's limit, drawn: a bar on a beam, with a post where it stood last time."""

from dataclasses import dataclass

LEFT, RIGHT = 4, 414


@dataclass(frozen=True, slots=True)
class WeightPicture:
    """Grams; `now` and `before` are None where nothing is known."""

    now: int | None
    before: int | None
    limit: int

    @property
    def _full(self) -> int:
        return max(self.limit, self.now or 0, self.before or 0)

    def _x(self, grams: int) -> int:
        return LEFT + round((RIGHT - LEFT) * grams / self._full)

    @property
    def bar(self) -> int:
        """Width of the bar."""
        return self._x(self.now or 0) - LEFT

    @property
    def limit_x(self) -> int:
        return self._x(self.limit)

    @property
    def before_x(self) -> int:
        return self._x(self.before or 0)

    @property
    def before_right(self) -> bool:
        """Whether there is no room for the words on the left of their post."""
        return self.before_x < 140

    @property
    def over(self) -> bool:
        return self.now is not None and self.now > self.limit

    @property
    def differs(self) -> int | None:
        """Grams heavier (above 0) or lighter than last time; None where one of them is not known."""
        return None if self.now is None or self.before is None else self.now - self.before

    @property
    def kilograms(self) -> dict[str, str]:
        """Every figure of the picture in kilograms, two decimals."""
        grams = {
            "now": self.now or 0, "before": self.before or 0, "limit": self.limit,
            "difference": abs(self.differs or 0),
        }  # fmt: skip
        return {name: f"{value / 1000:.2f}" for name, value in grams.items()}
