"""Stacks and the positions components stand in."""

from django.db import models

from equipment.models.components import ComponentKind
from equipment.models.rigs import Rig


class StackKind(models.TextChoices):
    SURFACE = "surface", "Surface stack"
    SUBSEA = "subsea", "Subsea stack"


class Stack(models.Model):
    """A blowout preventer stack with all that is tested beside it: lines, manifold, drive and control unit."""

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="stacks")
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=8, choices=StackKind)

    class Meta:
        ordering = ("rig", "name")
        constraints = (
            models.UniqueConstraint(
                fields=["rig", "name"],
                name="stack_name_once_a_rig",
                violation_error_message="The rig has a stack of this name.",
            ),
        )

    def __str__(self) -> str:
        return self.name


class PositionGroup(models.TextChoices):
    """Part of the pressure system a position belongs to; says where it is drawn and what limits it."""

    BORE = "bore", "Stack bore"
    CHOKE_SIDE = "choke-side", "Choke side"
    KILL_SIDE = "kill-side", "Kill side"
    MANIFOLD = "manifold", "Choke and standpipe manifold"
    DRIVE = "drive", "Standpipe, kelly and top drive"
    STRING = "string", "Drill string"
    CONTROL = "control", "Closing unit and accumulators"
    RISER = "riser", "Riser and diverter"


class Position(models.Model):
    """A place in a stack, top to bottom by `order`, in which one component stands at a time."""

    stack = models.ForeignKey(Stack, on_delete=models.PROTECT, related_name="positions")
    order = models.PositiveSmallIntegerField(help_text="Counted from the top of the stack.")
    name = models.CharField(max_length=60, help_text="Such as Upper pipe ram.")
    kind = models.CharField(max_length=24, choices=ComponentKind, help_text="Kind of component that fits here.")
    group = models.CharField(max_length=12, choices=PositionGroup, default=PositionGroup.BORE)
    outlet_of = models.ForeignKey(
        "self",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="outlets",
        help_text="For a side-outlet valve: the position in the bore it hangs on.",
    )

    class Meta:
        ordering = ("stack", "order")
        constraints = (
            models.UniqueConstraint(
                fields=["stack", "order"], name="position_order_once", violation_error_message="The order is taken."
            ),
            models.UniqueConstraint(
                fields=["stack", "name"],
                name="position_name_once",
                violation_error_message="The stack has this position.",
            ),
        )

    def __str__(self) -> str:
        return self.name
