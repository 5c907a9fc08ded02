"""Accumulator banks, their bottles and precharge readings over HTTP."""

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request

from equipment.api.operations import View, lists, reads
from equipment.api.shapes import shown
from equipment.models import Bank, Bottle, PrechargeCheck, PrechargeReading
from equipment.queries import access, banks

BankShown = shown(
    Bank,
    *("id", "component", "purpose", "location", "depth", "control_fluid_gradient", "seawater_gradient"),
    *("design_precharge", "reference_temperature", "precharge_basis", "charged_pressure"),
    *("minimum_operating_pressure", "precharge_tolerance", "tolerance_source", "remarks"),
)
BottleShown = shown(
    Bottle,
    *("id", "bank", "position_number", "serial", "shell_volume", "gas_volume", "shell_tested_on"),
    *("shell_test_due_on", "state", "state_since", "state_reason"),
)
PrechargeCheckShown = shown(
    PrechargeCheck, "id", "bank", "instrument", "taken_at", "taken_by", "fluid_bled_off", "remarks", "recorded_at"
)
PrechargeReadingShown = shown(
    PrechargeReading,
    *("id", "check_round", "bottle", "pressure", "gas_temperature", "corrects", "reason", "recorded_at"),
    is_corrected=serializers.BooleanField(help_text="A later reading stands in its place."),
)


class Banks(View):
    """The accumulator banks of a rig."""

    @lists(BankShown, "List the accumulator banks of a rig")
    def get(self, request: Request, rig_pk: int) -> QuerySet[Bank]:
        return banks.banks_of(access.rig_for(request.user, rig_pk))


class BankByKey(View):
    """One bank."""

    @reads(BankShown, "Show an accumulator bank")
    def get(self, request: Request, pk: int) -> Bank:
        return banks.bank_for(request.user, pk)


class Bottles(View):
    """The bottles that stand in a bank."""

    @lists(BottleShown, "List the bottles of a bank")
    def get(self, request: Request, pk: int) -> QuerySet[Bottle]:
        return banks.bottles_standing(banks.bank_for(request.user, pk))


class PrechargeChecks(View):
    """The rounds of precharge readings of a bank."""

    @lists(PrechargeCheckShown, "List the precharge checks of a bank", order=("-taken_at", "-pk"))
    def get(self, request: Request, pk: int) -> QuerySet[PrechargeCheck]:
        return banks.rounds_of(banks.bank_for(request.user, pk))


class PrechargeReadings(View):
    """Every reading of a bank."""

    @lists(PrechargeReadingShown, "List the precharge readings of a bank")
    def get(self, request: Request, pk: int) -> QuerySet[PrechargeReading]:
        return banks.readings_of(banks.bank_for(request.user, pk))
