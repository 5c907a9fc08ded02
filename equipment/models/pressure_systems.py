"""The pressure system of a stack: cavities that hold one pressure, joined by the elements that close between them."""

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q

from calcs.errors import InputError
from calcs.lineups import NO_PIPE
from calcs.units import Dimension, read
from equipment.models.components import ComponentKind
from equipment.models.quantities import QuantityField, whole_quantity
from equipment.models.stacks import Position, PositionGroup, Stack


class ElementKind(models.TextChoices):
    """What closes between two cavities: component kinds that shut, and two things no component list names."""

    ANNULAR = ComponentKind.ANNULAR.value, ComponentKind.ANNULAR.label
    PIPE_RAM = ComponentKind.PIPE_RAM.value, ComponentKind.PIPE_RAM.label
    VARIABLE_BORE_RAM = ComponentKind.VARIABLE_BORE_RAM.value, ComponentKind.VARIABLE_BORE_RAM.label
    BLIND_RAM = ComponentKind.BLIND_RAM.value, ComponentKind.BLIND_RAM.label
    BLIND_SHEAR_RAM = ComponentKind.BLIND_SHEAR_RAM.value, ComponentKind.BLIND_SHEAR_RAM.label
    CHOKE_VALVE = ComponentKind.CHOKE_VALVE.value, ComponentKind.CHOKE_VALVE.label
    KILL_VALVE = ComponentKind.KILL_VALVE.value, ComponentKind.KILL_VALVE.label
    GATE_VALVE_HYDRAULIC = ComponentKind.GATE_VALVE_HYDRAULIC.value, ComponentKind.GATE_VALVE_HYDRAULIC.label
    GATE_VALVE_MANUAL = ComponentKind.GATE_VALVE_MANUAL.value, ComponentKind.GATE_VALVE_MANUAL.label
    CHECK_VALVE = ComponentKind.CHECK_VALVE.value, ComponentKind.CHECK_VALVE.label
    CHOKE = ComponentKind.CHOKE.value, ComponentKind.CHOKE.label
    STANDPIPE_VALVE = ComponentKind.STANDPIPE_VALVE.value, ComponentKind.STANDPIPE_VALVE.label
    KELLY_VALVE = ComponentKind.KELLY_VALVE.value, ComponentKind.KELLY_VALVE.label
    SAFETY_VALVE = ComponentKind.SAFETY_VALVE.value, ComponentKind.SAFETY_VALVE.label
    INSIDE_BOP = ComponentKind.INSIDE_BOP.value, ComponentKind.INSIDE_BOP.label
    TEST_PLUG = "test-plug", "Test plug"
    STRING_PORT = "string-port", "Port of the test joint"


class HoldsFrom(models.TextChoices):
    """The sides from which an element holds pressure when closed."""

    BOTH = "both", "From both sides"
    WELL_SIDE = "well-side", "From the well side only"
    FAR_SIDE = "far-side", "From the far side only"
    NONE = "none", "From neither: it seals nothing"


class ClosesWith(models.TextChoices):
    """Whether an element needs pipe in the hole to close, or none; preventers say it by their component."""

    ANY = "any", "With pipe or without"
    PIPE = "pipe", "With pipe in the hole only"
    NO_PIPE = "no-pipe", "Without pipe only"


def check_pipe_strings(given: object) -> None:
    """Raise ValidationError unless it is a list of outside diameters, each once, `none` for an empty hole."""
    texts = given if isinstance(given, list) else [given]
    for text in texts:
        if not isinstance(text, str):
            raise ValidationError("Pipe is given as an outside diameter with its unit, such as 5 in.")
        if text == NO_PIPE:
            continue
        try:
            size = read(text, Dimension.LENGTH, field="pipe_strings").si(Dimension.LENGTH)
        except InputError as error:
            raise ValidationError(f"{error.reason} {error.remedy}") from error
        if size <= 0:
            raise ValidationError(f"“{text}” is no size of pipe: give an outside diameter, such as 5 in.")
    if len(set(texts)) < len(texts):
        raise ValidationError("A pipe stands in the list twice: leave it once.")


class PressureSystem(models.Model):
    """What can be pressurised around a stack, from the well to the manifolds and the top drive."""

    stack = models.OneToOneField(Stack, on_delete=models.PROTECT, related_name="pressure_system")
    pipe_strings = models.JSONField(
        default=list, validators=[check_pipe_strings], help_text="Outside diameters; “none” for an empty hole."
    )
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ("stack",)

    def __str__(self) -> str:
        return f"Pressure system of {self.stack}"


class Cavity(models.Model):
    """A space that holds one pressure; `part` says where it is drawn, `limited_by` what else bounds its rating."""

    system = models.ForeignKey(PressureSystem, on_delete=models.PROTECT, related_name="cavities")
    order = models.PositiveSmallIntegerField(default=0, help_text="Counted from the top, within its part.")
    name = models.CharField(max_length=60, help_text="Such as Bore below the upper pipe ram.")
    part = models.CharField(max_length=12, choices=PositionGroup, default=PositionGroup.BORE)
    rating = QuantityField(
        Dimension.PRESSURE, "rated working pressure", blank=True, help_text="Where the space has one of its own."
    )
    is_pump_point = models.BooleanField("pump point", default=False, help_text="A pump can be lined up to it.")
    is_vent = models.BooleanField("open to the air", default=False, help_text="A leak would be seen there.")

    class Meta:
        ordering = ("system", "order", "id")
        verbose_name_plural = "cavities"
        constraints = (
            models.UniqueConstraint(
                fields=["system", "name"],
                name="cavity_name_once_a_system",
                violation_error_message="The pressure system has a cavity of this name.",
            ),
            models.CheckConstraint(
                condition=Q(is_pump_point=False) | Q(is_vent=False),
                name="cavity_pumped_or_vented",
                violation_error_message="A space open to the air takes no pressure, so no pump is lined up to it.",
            ),
            models.CheckConstraint(
                condition=Q(rating_si__isnull=True) | Q(rating_si__gt=0),
                name="cavity_rating_positive",
                violation_error_message="A rated working pressure is over zero.",
            ),
            whole_quantity("cavity", "rating"),
        )

    def __str__(self) -> str:
        return self.name


class CavityLimit(models.Model):
    """A position without anything that shuts (spool, connector, line) whose component bounds a cavity's rating."""

    cavity = models.ForeignKey(Cavity, on_delete=models.PROTECT, related_name="limits")
    position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="cavity_limits")

    class Meta:
        ordering = ("cavity", "position")
        constraints = (
            models.UniqueConstraint(
                fields=["position"],
                name="cavitylimit_position_once",
                violation_error_message="This position belongs to another cavity already.",
            ),
        )

    def __str__(self) -> str:
        return f"{self.position} in {self.cavity}"


class SystemElement(models.Model):
    """Something that closes between two cavities; in the bore its well side is below and its far side above."""

    system = models.ForeignKey(PressureSystem, on_delete=models.PROTECT, related_name="elements")
    order = models.PositiveSmallIntegerField(default=0, help_text="The order they are listed in.")
    name = models.CharField(max_length=60, help_text="Such as Upper pipe ram.")
    kind = models.CharField(max_length=24, choices=ElementKind)
    position = models.ForeignKey(
        Position,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="system_elements",
        help_text="Empty for what is no position of the stack, such as a test plug.",
    )
    well_side = models.ForeignKey(Cavity, on_delete=models.PROTECT, related_name="elements_over")
    far_side = models.ForeignKey(Cavity, on_delete=models.PROTECT, related_name="elements_under")
    holds_from = models.CharField(max_length=10, choices=HoldsFrom, default=HoldsFrom.BOTH)
    closes_with = models.CharField(max_length=8, choices=ClosesWith, default=ClosesWith.ANY)
    normally_closed = models.BooleanField("closed while drilling", default=False)
    rating = QuantityField(
        Dimension.PRESSURE,
        "rated working pressure",
        blank=True,
        help_text="Used where no component with a rating stands in its position.",
    )

    class Meta:
        ordering = ("system", "order", "id")
        constraints = (
            models.UniqueConstraint(
                fields=["system", "name"],
                name="systemelement_name_once_a_system",
                violation_error_message="The pressure system has an element of this name.",
            ),
            models.UniqueConstraint(
                fields=["position"],
                name="systemelement_position_once",
                violation_error_message="Another element stands for this position.",
            ),
            models.CheckConstraint(
                condition=~Q(well_side=F("far_side")),
                name="systemelement_joins_two",
                violation_error_message="An element stands between two different cavities.",
            ),
            models.CheckConstraint(
                condition=Q(rating_si__isnull=True) | Q(rating_si__gt=0),
                name="systemelement_rating_positive",
                violation_error_message="A rated working pressure is over zero.",
            ),
            whole_quantity("systemelement", "rating"),
        )

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        """Raise ValidationError for a cavity of another system or a position of another stack."""
        wrong = {
            side: "This cavity belongs to another pressure system."
            for side in ("well_side", "far_side")
            if _id_of(self, side) is not None and getattr(self, side).system_id != self.system_id
        }
        if self.position is not None and self.position.stack_id != self.system.stack_id:
            wrong["position"] = "This position belongs to another stack."
        if wrong:
            raise ValidationError(wrong)


def _id_of(element: SystemElement, side: str) -> int | None:
    key: int | None = getattr(element, f"{side}_id")
    return key
