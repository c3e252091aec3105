"""A size is said with its second measure, a side as a whole word."""

from trays.catalogue.models import Component
from trays.catalogue.words import side_in_text, side_word, size_and_side, size_words


def test_a_size_is_said_with_its_second_measure_and_its_side() -> None:
    insert = Component(size="5", second="14", side="left", name="Insert 5")
    assert size_words(insert) == "5 × 14"
    assert size_and_side(insert) == "5 × 14 LEFT"
    assert size_and_side(Component(size="5", side="none", name="Tibial 5")) == "5"


def test_what_has_no_size_goes_by_its_name() -> None:
    assert size_and_side(Component(name="Bone cement", side="none")) == "Bone cement"


def test_no_side_has_no_word() -> None:
    assert [side_word(side) for side in ("left", "right", "none", "")] == ["LEFT", "RIGHT", "", ""]
    assert [side_in_text(side) for side in ("left", "right", "none", "")] == ["left", "right", "", ""]
