"""Whether one visit had more slips than is usual, by an exact test on counts."""

from dataclasses import dataclass
from fractions import Fraction
from math import comb

UNUSUAL_P = 0.01
FEWEST_USUAL = 20


@dataclass(frozen=True)
class SlipRate:
    """Samples with a slip out of those opened, here and in the other visits, and how likely that many are by chance.

    ``p`` is None where the others have fewer than 20 samples: then nothing is usual yet.
    """

    slips: int
    samples: int
    usual_slips: int
    usual_samples: int
    p: float | None

    @property
    def unusual(self) -> bool:
        """More slips than chance gives once in a hundred visits."""
        return self.p is not None and self.p < UNUSUAL_P


def slip_rate(slips: int, samples: int, usual_slips: int, usual_samples: int) -> SlipRate:
    """Holds a visit's slips against those of the other visits by Fisher's exact test, one-sided.

    ``p`` is the chance of at least so many slips here, were all slips of all visits spread over all samples by lot:
    a hypergeometric tail, summed exactly. Below 0.01 is called unusual, a threshold of our own choice. Raises
    ValueError for counts that can't be. Source: Fisher, The Design of Experiments (1935), chapter II.
    """
    if not (0 <= slips <= samples and 0 <= usual_slips <= usual_samples):
        raise ValueError(f"{slips} of {samples} and {usual_slips} of {usual_samples} can't be counts of slips")
    p = None
    if usual_samples >= FEWEST_USUAL and samples:
        p = float(upper_tail(slips, samples, usual_slips + slips, usual_samples + samples))
    return SlipRate(slips, samples, usual_slips, usual_samples, p)


def upper_tail(slips: int, samples: int, all_slips: int, all_samples: int) -> Fraction:
    """The chance that ``samples`` drawn by lot from all hold at least so many of all slips."""
    most = min(samples, all_slips)
    ways = sum(comb(all_slips, k) * comb(all_samples - all_slips, samples - k) for k in range(slips, most + 1))
    return Fraction(ways, comb(all_samples, samples))
