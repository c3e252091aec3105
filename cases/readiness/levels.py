"""From a chance to the word of a level, and how sure the chance itself is.

A word of Covered is a promise, so only an exact chance or a proven bound gives it. An estimate alone can say
Thin or Short; where it reaches the target and the bound does not, the word is Thin, and both figures are
said.
"""

from cases.planning.kinds import SLACK, CaseAnswer
from cases.readiness.kinds import Level, Word


def level_of(
    answer: CaseAnswer, *, wanted: float, margin: float, bound: tuple[float, float] | None = None
) -> Level:
    """The level of an answer: not known where outcomes without a rule on file could change the word.

    Parameters
    ----------
    answer : CaseAnswer
    wanted, margin : float
        The chance wanted, and by how much less is still Thin.
    bound : tuple of float, optional
        The answer is an estimate, and these are the proven bounds of its P(short), low and high.
    """

    def word(p_short: float, proven: float) -> Word:
        if proven <= 1.0 - wanted + SLACK:
            return Word.COVERED
        return Word.THIN if p_short <= 1.0 - wanted + margin + SLACK else Word.SHORT

    short = (answer.p_short_low, answer.p_short_high)
    low, high = (word(p, q) for p, q in zip(short, bound or short, strict=True))
    chance = answer.p_cover_low if answer.exact else 1.0 - answer.p_short_high
    return Level(
        word=low if low is high else Word.UNKNOWN,
        chance=min(1.0, max(0.0, chance)),
        at_most=not answer.exact and bound is None,
        wanted=wanted,
        unknown=min(1.0, max(0.0, answer.p_unknown)),
        about=bound is not None,
        surely=None if bound is None else min(1.0, max(0.0, 1.0 - bound[1])),
    )
