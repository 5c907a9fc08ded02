"""Documents as serializers: what a row shows, and what a call takes; quantities as people write them."""

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar, Final

from django.db import models
from drf_spectacular.utils import OpenApiExample, extend_schema_field, extend_schema_serializer
from rest_framework import serializers

from equipment.models.quantities import QuantityField

_SHOWN: Final = {
    "type": ["object", "null"],
    "properties": {
        "value": {"type": "string", "description": "The digits as entered."},
        "unit": {"type": "string"},
        "si": {"type": "number", "description": "The same in the SI unit; pressures are gauge."},
    },
    "required": ["value", "unit", "si"],
    "examples": [{"value": "10000", "unit": "psi", "si": 68947572.9}],
}
_LONGEST: Final = 60


@extend_schema_field(_SHOWN)
class Amount(serializers.Field):
    """A quantity as it stands on file: the digits and unit as entered, and the same in SI."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**{**options, "read_only": True})

    def to_representation(self, value: Any) -> dict[str, Any]:
        """Return the quantity as a document."""
        return {"value": value.text, "unit": value.unit, "si": value.si}


# Types in a list rather than `oneOf`: the library adds null to a `oneOf` in place, for every field that shares it.
@extend_schema_field(
    {
        "type": ["string", "object"],
        "minLength": 1,
        "maxLength": 60,
        "properties": {
            "value": {"type": ["number", "string"], "maxLength": 30},
            "unit": {"type": "string", "maxLength": 20},
        },
        "required": ["value", "unit"],
        "additionalProperties": False,
        "examples": ["10000 psi", {"value": 10000, "unit": "psi"}],
    }
)
class AmountTaken(serializers.Field):
    """A quantity as a call takes it: ``"10000 psi"``, or value and unit apart. Empty clears what is on file."""

    default_error_messages = {
        "form": 'Give a number with its unit, such as "10000 psi" or {{"value": 10000, "unit": "psi"}}.'
    }

    def to_internal_value(self, given: Any) -> str:
        """Return the quantity as a text; whether it is one, the action says."""
        if isinstance(given, Mapping) and set(given) == {"value", "unit"} and not isinstance(given["value"], bool):
            given = f"{given['value']} {given['unit']}"
        if not isinstance(given, str) or len(given) > _LONGEST or "\x00" in given:
            self.fail("form")
        return given


@extend_schema_field({"type": ["object", "array", "string", "number", "boolean"]})
class Whole(serializers.JSONField):
    """A document kept on a row, shown as it is."""


class Shown(serializers.ModelSerializer):
    """What a row shows."""

    serializer_field_mapping: ClassVar = {
        **serializers.ModelSerializer.serializer_field_mapping,
        models.JSONField: Whole,
    }

    def build_standard_field(self, field_name: str, model_field: Any) -> tuple[type, dict[str, Any]]:
        """Let a choice that may be left open be shown as open."""
        kind, options = super().build_standard_field(field_name, model_field)
        if model_field.choices and model_field.blank:
            options["choices"] = [*model_field.choices, ("", "Nothing")]
        return kind, options

    def build_property_field(self, field_name: str, model_class: type[models.Model]) -> tuple[type, dict[str, Any]]:
        """Show a quantity as one."""
        if isinstance(getattr(model_class, field_name, None), QuantityField):
            return Amount, {}
        return super().build_property_field(field_name, model_class)


class Taken(serializers.Serializer):
    """What a call takes; a key it does not know is refused, so that no slip of the pen is lost in silence."""

    def to_internal_value(self, data: Any) -> Any:
        """Return what was given, read; raises ValidationError naming every field at fault."""
        strange = sorted(set(data) - set(self.fields)) if isinstance(data, Mapping) else []
        if strange:
            known = ", ".join(self.fields)
            raise serializers.ValidationError({key[:80]: f"Not known here. Known are: {known}." for key in strange})
        return super().to_internal_value(data)


class TakenOfRow(Taken, serializers.ModelSerializer):
    """What a call takes of a row: lengths and choices are the model's, what else holds its action says."""

    def build_property_field(self, field_name: str, model_class: type[models.Model]) -> tuple[type, dict[str, Any]]:
        """Take a quantity as one."""
        quantity = getattr(model_class, field_name, None)
        if isinstance(quantity, QuantityField):
            return AmountTaken, {"required": not quantity.blank, "allow_null": quantity.blank}
        return super().build_property_field(field_name, model_class)

    def build_standard_field(self, field_name: str, model_field: Any) -> tuple[type, dict[str, Any]]:
        """Leave it to the action to say what is taken already."""
        kind, options = super().build_standard_field(field_name, model_field)
        validators = [one for one in options.get("validators", ()) if type(one).__name__ != "UniqueValidator"]
        if "validators" in options:
            options["validators"] = validators
        return kind, options

    def build_relational_field(self, field_name: str, relation_info: Any) -> tuple[type, dict[str, Any]]:
        """Take a relation as a key; the shell gets the row from a query, which authorises."""
        return serializers.IntegerField, {
            "required": not relation_info.model_field.blank,
            "allow_null": relation_info.model_field.null,
            "min_value": 1,
            "max_value": 2**63 - 1,
        }


def shown(
    model: type[models.Model],
    *fields: str,
    name: str = "",
    example: Mapping[str, Any] | None = None,
    **more: serializers.Field[Any, Any, Any, Any],
) -> type[Shown]:
    """Return the serializer that shows these fields of a model, and `more` beside them."""
    return _made(Shown, model, (*fields, *more), name or model.__name__, example, more, read_only=True)


def taken(
    model: type[models.Model],
    *fields: str,
    name: str,
    example: Mapping[str, Any] | None = None,
    **more: serializers.Field[Any, Any, Any, Any],
) -> type[TakenOfRow]:
    """Return the serializer that takes these fields of a model, and `more` beside them."""
    return _made(TakenOfRow, model, (*fields, *more), name, example, more, read_only=False)


def _made(
    kind: type,
    model: type[models.Model],
    fields: Sequence[str],
    name: str,
    example: Mapping[str, Any] | None,
    more: Mapping[str, Any],
    *,
    read_only: bool,
) -> Any:
    options: dict[str, Any] = {"model": model, "fields": list(fields), "validators": []}
    if read_only:
        options["read_only_fields"] = list(fields)
    words = (model.__doc__ or "").strip().partition("\n")[0]
    made = type(kind)(name, (kind,), {"Meta": type("Meta", (), options), "__doc__": words, **more})
    return with_example(made, example)


def with_example(serializer: Any, example: Mapping[str, Any] | None) -> Any:
    """Return the serializer with an example of its document in the description."""
    if example is None:
        return serializer
    return extend_schema_serializer(examples=[OpenApiExample(serializer.__name__, value=dict(example))])(serializer)


class Problem(serializers.Serializer):
    """A refusal (RFC 9457) that names each field with its reason and its remedy."""

    class Fault(serializers.Serializer):
        """One thing that stands against it."""

        field = serializers.CharField(allow_blank=True, help_text="Dotted path; empty where it is none in particular.")
        reason = serializers.CharField(allow_blank=True)
        remedy = serializers.CharField(allow_blank=True)

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField(allow_blank=True)
    errors: Any = Fault(many=True)
