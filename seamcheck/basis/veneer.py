"""How thick veneer is, inches."""

from .uncertain import COVERAGE_95

# Veneer now usual is 1/42 in; what is sold runs from 1/50 to 1/28 (trade pages), and all of it is to lie inside u95.
USUAL_VENEER_IN = 1 / 42
U_VENEER_IN = (1 / 28 - USUAL_VENEER_IN) / COVERAGE_95
# A thickness that the person gives, read off a calliper or a label.
U_VENEER_TOLD_IN = 0.001


def thickness(told_in: float | None) -> tuple[float, float]:
    """A veneer's thickness, as it was told (or None), and its standard uncertainty."""
    return (told_in, U_VENEER_TOLD_IN) if told_in else (USUAL_VENEER_IN, U_VENEER_IN)
