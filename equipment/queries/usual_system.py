"""The pressure system a stack usually has, worked out from its positions; what it gets wrong is then changed by hand.

All of it is common practice, and each guess errs on the side that shows itself in a test:

* preventers stand in the bore from top to bottom with a cavity between neighbours; over the uppermost it is open to
  the air; rams and annulars hold from below only;
* outlets open below the preventer they hang on, or into the cavity of their spool; valves of one outlet stand in line
  from the well outward, and all of a side end in its line;
* a test plug closes the well beneath the lowest preventer, holds from above only, and the wellhead beneath it drains;
* a check valve lets the pump through towards the well and holds from the well side;
* manifold valves are drawn in one row: valves drawn side by side that stand in line would be called proved without
  being so, while valves drawn in line that stand side by side let the pressure through at once;
* the string joins the well through a ported test joint, and only with pipe in the hole; its valves hold from below.
"""

from collections.abc import Sequence
from typing import Final

from equipment.errors import Refused
from equipment.models import (
    ClosesWith,
    ComponentKind,
    ElementKind,
    Position,
    PositionGroup,
    Stack,
    StackKind,
)
from equipment.queries.planned_system import PlannedCavity, PlannedSystem
from equipment.queries.stacks import positions_of

TEST_PLUG: Final = "Test plug"
TEST_JOINT: Final = "Test joint"
_SIDE_LINES: Final = {PositionGroup.CHOKE_SIDE: "Choke line", PositionGroup.KILL_SIDE: "Kill line"}


def usual_system(stack: Stack) -> PlannedSystem:
    """Return the pressure system the stack's positions suggest. One query.

    Positions of the riser and of the control system are left out: no test pressure of the stack reaches them.
    Raises Refused when no preventer stands in the bore.
    """
    drawing = _Drawing(stack, list(positions_of(stack)))
    if not any(_shuts(position) for position in drawing.of(PositionGroup.BORE)):
        raise Refused(
            "", "No preventer is on the list of this stack's bore.", "Add the positions of its preventers first."
        )
    drawing.bore()
    drawing.plug()
    drawing.choke_side()
    drawing.kill_side()
    drawing.string()
    return drawing.plan


def _shuts(position: Position) -> bool:
    return position.kind in ElementKind.values


class _Drawing:
    """A pressure system being planned: `around` holds the cavity below each position of the bore, a spool's own."""

    def __init__(self, stack: Stack, positions: Sequence[Position]) -> None:
        self.subsea = stack.kind == StackKind.SUBSEA
        self.positions = positions
        self.plan = PlannedSystem()
        self.around: dict[int, PlannedCavity] = {}

    def of(self, group: str) -> list[Position]:
        return [position for position in self.positions if position.group == group]

    @property
    def lowest(self) -> PlannedCavity:
        """The cavity over the test plug."""
        return self.around[self.of(PositionGroup.BORE)[-1].pk]

    def bore(self) -> None:
        name, part = ("Riser", PositionGroup.RISER) if self.subsea else ("Bell nipple and flow line", "bore")
        here = self.plan.cavity(name, part, vent=True)
        for position in self.of(PositionGroup.BORE):
            if _shuts(position):
                beneath = self.plan.cavity(f"Below {position.name}", PositionGroup.BORE)
                self.plan.stand(position, beneath, here)
                here = beneath
            else:
                here.limited_by.append(position)
            self.around[position.pk] = here

    def plug(self) -> None:
        beneath = self.plan.cavity("Wellhead beneath the test plug", PositionGroup.BORE, vent=True)
        self.plan.stand_unlisted(TEST_PLUG, ElementKind.TEST_PLUG, beneath, self.lowest)

    def choke_side(self) -> None:
        """Plan the choke side out to the manifold, its valves in one row, and to where it is open."""
        row = self.of(PositionGroup.MANIFOLD)
        here = self._side(PositionGroup.CHOKE_SIDE)
        if here is None and not row:
            return
        here = here or self.plan.cavity("Choke line", PositionGroup.CHOKE_SIDE)
        for position in row:
            here = self._next(position, here, f"Beyond {position.name}")
        here.is_vent = True
        if any(_shuts(position) for position in row):
            self.plan.rename(here, "Separator and tanks")

    def kill_side(self) -> None:
        """Plan the kill side out to the test pump, with the bleed valve by which it drains."""
        here = self._side(PositionGroup.KILL_SIDE)
        if here is None:
            return
        here.is_pump_point = True
        tank = self.plan.cavity("Kill line bleed", PositionGroup.KILL_SIDE, vent=True)
        self.plan.stand_unlisted("Kill line bleed valve", ElementKind.GATE_VALVE_MANUAL, here, tank, shut=True)

    def string(self) -> None:
        """Plan the way up through the string: test joint, safety valves, drive, standpipe, pumps."""
        here = self.plan.cavity(TEST_JOINT, PositionGroup.STRING, pump=True)
        self.plan.stand_unlisted(
            "Port of the test joint", ElementKind.STRING_PORT, self.lowest, here, closes_with=ClosesWith.NO_PIPE
        )
        way = [*self.of(PositionGroup.STRING), *reversed(self.of(PositionGroup.DRIVE))]
        standpipe = [position for position in way if position.kind == ComponentKind.STANDPIPE_VALVE]
        for position in way:
            if position in standpipe[:1] and here.name != TEST_JOINT:
                self.plan.rename(here, "Standpipe and hose")
                here.is_pump_point = True
            here = self._next(position, here, f"Above {position.name}", ClosesWith.PIPE)
        if any(_shuts(position) for position in way):
            here.is_vent = True
            self.plan.rename(here, "Mud pumps")
        else:
            # Open without pipe, so that no step is planned that pumps through a joint that is not there.
            floor = self.plan.cavity("Drill floor", PositionGroup.STRING, vent=True)
            self.plan.stand_unlisted(
                "Valve on the test joint", ElementKind.SAFETY_VALVE, here, floor, closes_with=ClosesWith.PIPE
            )

    def _side(self, part: str) -> PlannedCavity | None:
        """Plan the outlets of a side and its line; returns the outer end of the line, or None without any position."""
        positions = self.of(part)
        if not positions:
            return None
        here = self.plan.cavity(_SIDE_LINES[PositionGroup(part)], part)
        for bore in dict.fromkeys(p.outlet_of_id for p in positions if p.outlet_of_id is not None):
            on_outlet = [position for position in positions if position.outlet_of_id == bore]
            self._outlet([position for position in on_outlet if _shuts(position)], self.around[bore], here)
            here.limited_by += [position for position in on_outlet if not _shuts(position)]
        for position in positions:
            if position.outlet_of_id is None:
                here = self._next(position, here, f"Beyond {position.name}")
        return here

    def _outlet(self, row: Sequence[Position], bore: PlannedCavity, line: PlannedCavity) -> None:
        """Plan the valves of one outlet from the well outward; while drilling the last is shut, subsea all are."""
        here = bore
        for position in row:
            last = position is row[-1]
            out = line if last else self.plan.cavity(f"Beyond {position.name}", position.group)
            self.plan.stand(position, here, out, normally_closed=last or self.subsea)
            here = out

    def _next(
        self, position: Position, here: PlannedCavity, name: str, closes_with: str = ClosesWith.ANY
    ) -> PlannedCavity:
        """Go on by one position: past what shuts into a new cavity, or along what bounds the one we are in."""
        if not _shuts(position):
            here.limited_by.append(position)
            return here
        out = self.plan.cavity(name, position.group)
        self.plan.stand(position, here, out, closes_with=closes_with)
        return out
