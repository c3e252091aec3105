"""Learning: the strength of many groups, the laws of a site with ten years of outcomes."""

from datetime import timedelta
from math import lgamma

import numpy as np
from django.utils import timezone

from cases.forecasts.models import Outcome
from cases.forecasts.queries import error_laws
from cases.planning.learning import LEAST, MOST, Group, fit_strength
from cases.planning.learning_pairs import associate, factors
from tests.bench.conftest import median_of, tell, timed
from tests.cases.planning.learning_table import TABLE, world
from tests.world import make_world

LOOKS = 200


def by_looking(groups: list[Group]) -> float:
    """The plain way: the likelihood at many strengths, with one gamma function per cell."""

    def likelihood(alpha: float) -> float:
        total = 0.0
        for group in groups:
            total += lgamma(alpha) - lgamma(alpha + int(group.counts.sum()))
            for p, c in zip(group.prior.tolist(), group.counts.tolist(), strict=True):
                total += lgamma(alpha * p + c) - lgamma(alpha * p)
        return total

    return max(np.geomspace(LEAST, MOST, LOOKS).tolist(), key=likelihood)


def test_fit_the_strength_of_forty_groups_of_sixty() -> None:
    print()
    groups = [Group(TABLE, np.bincount(row[:60], minlength=TABLE.size)) for row in world(20.0, False, 1)]
    fit = median_of(lambda: fit_strength(groups), 21)
    plain, near = timed(lambda: by_looking(groups))
    tell("strength of 40 groups of 60, to 1e-12", fit, f"{fit_strength(groups).alpha:.4f}")
    tell(
        f"the same by {LOOKS} looks at the likelihood", plain, f"{near:.4f}, {plain / fit:.0f} times as long"
    )


def test_weigh_six_hundred_pairs_of_errors() -> None:
    print()
    cells = world(20.0, False, 1)[:2].repeat(3, axis=1)[:, :600]
    laws = np.repeat(TABLE[None, :], cells.shape[1], axis=0)
    found = associate(laws, laws, cells[0], cells[1])
    tell("odds of 600 pairs", median_of(lambda: associate(laws, laws, cells[0], cells[1]), 11))
    tell("weights of one pair of slots", median_of(lambda: factors(TABLE, TABLE, found), 51))


def test_read_what_a_site_has_learnt(db: None) -> None:
    """One year of a busy site, then ten: reading and fitting stay as they are."""
    print()
    house, today = make_world(), timezone.now().date()
    people = list(type(house.cast.surgeon).objects.order_by("pk")[:5])
    rng = np.random.default_rng(1)
    total = 0
    for years in (1, 10):
        wanted = 2_500 * years
        Outcome.objects.bulk_create(
            Outcome(
                site=house.site, reference=f"H{n // 2}", slot=slot, method=method, planner=people[n // 2 % 5],
                component=house.component(slot, str(1 + used), side=side), predicted_rank=predicted,
                used_on=today - timedelta(days=n * 365 // 2_500),
            )
            for n, (used, predicted) in enumerate(rng.integers(0, 4, size=(wanted, 2)).tolist())
            if n >= total
            for slot, side in [(("femoral", "right"), ("tibial", "none"))[n % 2]]
            for method in [("xray_template", "ct_template")[n // 10 % 2]]
        )  # fmt: skip
        total = wanted
        read = median_of(lambda: error_laws(site=house.site, on=today), 5)

        def learn() -> None:
            laws = error_laws(site=house.site, on=today)
            for person in people:
                for slot in ("femoral", "tibial"):
                    laws.of(slot, "xray_template", person.pk)
            laws.pair("femoral", "tibial", "xray_template")

        tell(f"{total} outcomes on file: read what is learnt from", read)
        tell(f"{total} outcomes on file: and ten laws and a pair", median_of(learn, 5))
