"""The order in which the surface stack of the demo and its manifold are usually tested: common practice, no source.

The bore is tested on the test joint, one ring of the choke manifold after the other from the outermost inwards, with
one valve of the string in turn; then what is left of the string, and the blind-shear ram on no pipe.
"""

from typing import Final

from calcs.lineups import NO_PIPE, LineUp
from calcs.units import Dimension, to_si

_JOINT: Final = "Test joint"


def _step(pump_point: str, pipe: str, psi: float, *closed: str) -> LineUp:
    always = ("Test plug",) if pipe == NO_PIPE else ("Test plug", "Cement line valve")
    return LineUp(pump_point, pipe, to_si(psi, "psi", Dimension.PRESSURE), frozenset((*closed, *always)))


USUAL_ORDER: Final = (
    _step(_JOINT, "5 in", 3500, "Annular", "Choke outer valve", "Kill outer valve", "Drill string safety valve"),
    _step(
        _JOINT,
        "5 in",
        10_000,
        *("Upper pipe ram", "Manifold valve 4", "Manifold valve 5", "Kill outer valve", "Drill string safety valve"),
    ),
    _step(
        _JOINT,
        "5 in",
        10_000,
        *("Upper pipe ram", "Manifold valve 2", "Manifold valve 3", "Kill check valve", "Kill side drain valve"),
        "Inside BOP",
    ),
    _step(_JOINT, "5 in", 10_000, "Upper pipe ram", "Manifold valve 1", "Kill outer valve", "Lower top-drive valve"),
    _step(_JOINT, "5 in", 10_000, "Upper pipe ram", "Choke outer valve", "Kill inner valve", "Upper top-drive valve"),
    _step(
        _JOINT, "5 in", 10_000, "Upper pipe ram", "Choke inner valve", "Kill inner valve", "Drill string safety valve"
    ),
    _step(
        _JOINT, "5 in", 10_000, "Lower pipe ram", "Drill string safety valve", "Choke outer valve", "Kill outer valve"
    ),
    _step(_JOINT, "5 in", 7500, "Lower pipe ram", "Standpipe valve 2", "Choke outer valve", "Kill outer valve"),
    _step(_JOINT, "5 in", 7500, "Lower pipe ram", "Standpipe valve 1", "Choke outer valve", "Kill outer valve"),
    _step(
        "Choke line",
        NO_PIPE,
        10_000,
        *("Blind-shear ram", "Manifold valve 1", "Kill outer valve", "Port of the test joint"),
    ),
)
