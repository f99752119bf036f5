"""What the expected returns of a plan are made of, so that other prices can be tried without a new run."""

from dataclasses import dataclass

from hardpan.core.arrays import Bools, Floats, Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Makeup:
    """Parts of the expected return of every option in every zone, by what they rise and fall with.

    Arrays are (n_zones, n_options) unless another shape is given, money per ha; options are those of `Plan.candidates`.
    The expected return is the sum of `gain` over soil types less `fuel`, `other` and the discount rate times `capital`,
    and less the money for setting the zone, `Plan.setting`, and for its part in changing the fittings.
    """

    zone: Ints
    """(n_zones,): numbers of the zones."""
    soil_types: tuple[str, ...]
    gain: Floats
    """(n_zones, n_options, n_soils): goes with the price of grain and the gain of the soil type."""
    fuel: Floats
    """Fuel and lubricant: goes with the price of fuel."""
    capital: Floats
    """Mean value of tractor and ripper times the time a hectare takes over their hours a year: the discount rate times
    it is their interest."""
    other: Floats
    """All other cost of machines, labour and wear."""
    hours: Floats
    """Machine hours per ha."""
    fuel_l: Floats
    """Fuel, L per ha."""
    eligible: Bools
    """Options that a zone may be given: those no limit forbids; under a rule that does not ask for a return, of each
    set-up the one that the rule picks."""
    must_pay: bool
    """Whether a zone is ripped only where that returns something."""
    rounds: int
    """In how many rounds the choice and who pays for setting a zone are brought together."""
    setups_fitted: int
    """Most set-ups fitted in the paddock."""
    change: float
    """Money for changing from one of them to the next."""
