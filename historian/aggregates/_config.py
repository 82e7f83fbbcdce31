"""How a request wants uncertain and bad data treated."""

from __future__ import annotations

from dataclasses import dataclass

from historian.errors import WrongInput


@dataclass(frozen=True, slots=True)
class AggregateConfig:
    """The aggregate configuration, with the standard's defaults.

    Attributes:
        treat_uncertain_as_bad: an uncertain sample is as good as none; otherwise it is used, and the result
            says that it is uncertain.
        percent_data_bad: from this share of bad data (0 to 100) a result is bad and holds no value. Raising
            it gives more uncertain results and fewer bad ones.
        percent_data_good: from this share of good data (0 to 100) a result is good. Lowering it hides gaps.
        use_sloped_extrapolation: beyond the last sample go on along the line of the last two instead of
            holding the last one. Interpolated bounding values only.

    Raises:
        WrongInput: a share outside 0 to 100, or the two shares leave a result that is good and bad at once.

    Source: OPC 10000-13 4.2.1.2.
    """

    treat_uncertain_as_bad: bool = True
    percent_data_bad: int = 100
    percent_data_good: int = 100
    use_sloped_extrapolation: bool = False

    def __post_init__(self) -> None:
        bad, good = self.percent_data_bad, self.percent_data_good
        if not (0 <= bad <= 100 and 0 <= good <= 100):
            raise WrongInput(f"shares of data are 0 to 100 %, not {bad} % bad and {good} % good")
        if good < 100 - bad:
            raise WrongInput(
                f"{good} % good and {bad} % bad would let a result be both: "
                f"with {bad} % bad, good starts at {100 - bad} %"
            )

    @property
    def decided_by_good_alone(self) -> bool:
        """Whether the two shares meet, so that the share of good data decides."""
        return self.percent_data_good == 100 - self.percent_data_bad
