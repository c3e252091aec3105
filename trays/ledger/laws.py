"""Small makers of database constraints, so that each law reads as one line in a model."""

from django.db import models


def one_of(field: str, choices: type[models.TextChoices], name: str) -> models.CheckConstraint:
    """The field holds one of the listed states; Django's own choices never reach the database."""
    return models.CheckConstraint(condition=models.Q(**{f"{field}__in": choices.values}), name=name)


def one_of_or_none(field: str, choices: type[models.TextChoices], name: str) -> models.CheckConstraint:
    """The same, or nothing is on file."""
    return models.CheckConstraint(condition=models.Q(**{f"{field}__in": ["", *choices.values]}), name=name)


def between(field: str, low: float, high: float, name: str) -> models.CheckConstraint:
    """The field lies within the two bounds, both included."""
    return models.CheckConstraint(
        condition=models.Q(**{f"{field}__gte": low, f"{field}__lte": high}), name=name
    )


def at_least(field: str, low: int, name: str) -> models.CheckConstraint:
    """The field is not below the bound."""
    return models.CheckConstraint(condition=models.Q(**{f"{field}__gte": low}), name=name)


def exactly_one(name: str, *fields: str) -> models.CheckConstraint:
    """Exactly one of the named relations is set."""
    condition = models.Q()
    for chosen in fields:
        condition |= models.Q(**{f"{other}__isnull": other != chosen for other in fields})
    return models.CheckConstraint(condition=condition, name=name)
