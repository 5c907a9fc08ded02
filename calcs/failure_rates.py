"""How often things fail: counts over what they were exposed to, with exact Poisson limits.

Failures of things that neither wear in nor wear out come as a Poisson process, whose count says how surely its rate
is known: by the chi-square distribution, exactly and for any count, none among them (F. Garwood, Fiducial Limits for
the Poisson Distribution, Biometrika 28, 1936; NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.1). Exposure is in
any unit, days in service or tests made; a rate is failures per that unit.
"""

from dataclasses import dataclass
from typing import Final

from scipy.stats import chi2

from calcs.errors import InputError

USUAL_CONFIDENCE: Final = 0.95


@dataclass(frozen=True, slots=True)
class Rate:
    """How often something failed.

    Attributes:
        failures: how many failures were seen.
        exposure: over how much: time in service, or tests.
        confidence: how surely the true rate lies between the limits.
        low: the lower limit of the rate; 0 where nothing failed.
        high: the upper limit of the rate.
    """

    failures: int
    exposure: float
    confidence: float
    low: float
    high: float

    @property
    def rate(self) -> float:
        """Failures per unit of exposure."""
        return self.failures / self.exposure

    @property
    def between(self) -> float | None:
        """Mean exposure between failures; None where none was seen: it is only known to be longer than its limit."""
        return self.exposure / self.failures if self.failures else None

    @property
    def between_low(self) -> float:
        """The lower limit of the mean exposure between failures."""
        return 1 / self.high

    @property
    def between_high(self) -> float | None:
        """The upper limit of the mean exposure between failures; None where nothing failed."""
        return 1 / self.low if self.failures else None


def failure_rate(failures: int, exposure: float, *, confidence: float = USUAL_CONFIDENCE) -> Rate:
    """Return the rate of `failures` seen over `exposure` with its exact limits.

    With r failures over an exposure T and 1 − a the confidence, the rate lies between chi2(a/2; 2r) / 2T (0 where
    nothing failed) and chi2(1 − a/2; 2r + 2) / 2T. Of such intervals no smaller share than the confidence holds the
    true rate. To put the whole of a above where nothing failed, as is done for a limit on one side, would break that.

    Two failures in 800 hours, at 90 %, give a mean time between failures of 400 hours, from 127 to 2,251:

    >>> seen = failure_rate(2, 800.0, confidence=0.90)
    >>> seen.between, round(seen.between_low), round(seen.between_high)
    (400.0, 127, 2251)

    Raises InputError for a count below none, an exposure of nothing, a confidence outside 0 to 1.
    """
    if failures < 0:
        raise InputError("failures", "No fewer than none can have failed.", "Give 0 or more.")
    if not 0 < exposure < float("inf"):
        raise InputError("exposure", "Nothing was exposed.", "Give the time in service, or the tests made.")
    if not 0 < confidence < 1:
        raise InputError("confidence", "A confidence lies between 0 and 1.", "Give for instance 0.95.")
    outside = 1 - confidence
    low = float(chi2.ppf(outside / 2, 2 * failures)) / (2 * exposure) if failures else 0.0
    high = float(chi2.ppf(1 - outside / 2, 2 * failures + 2)) / (2 * exposure)
    return Rate(failures, exposure, confidence, low, high)
