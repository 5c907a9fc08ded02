"""The list of test instruments."""

from typing import Any

import django_filters
import django_tables2 as tables
from django.db.models import QuerySet
from django.urls import reverse
from django.utils.safestring import SafeString

from accounts.templatetags.wellhold import state
from calcs.units import Dimension
from equipment.models import Instrument, InstrumentKind
from equipment.queries.instruments import expiry_on
from equipment.web.columns import DayColumn, ListTable, QuantityColumn


class InstrumentFilter(django_filters.FilterSet):
    """By kind; retired ones only when asked for."""

    kind = django_filters.ChoiceFilter(choices=InstrumentKind.choices, label="Kind", empty_label="Any")
    use = django_filters.ChoiceFilter(
        choices=[("retired", "Out of use")], method="used", label="Use", empty_label="In use"
    )

    class Meta:
        model = Instrument
        fields: tuple[str, ...] = ()

    def filter_queryset(self, queryset: QuerySet[Instrument]) -> QuerySet[Instrument]:
        """Leave out what is out of use unless it is asked for."""
        kept = super().filter_queryset(queryset)
        return kept if self.form.cleaned_data.get("use") else kept.filter(retired_on__isnull=True)

    def used(self, queryset: QuerySet[Instrument], _: str, __: str) -> QuerySet[Instrument]:
        """Keep those out of use."""
        return queryset.filter(retired_on__isnull=False)


class InstrumentTable(ListTable):
    """Instruments with how their calibration stands."""

    serial = tables.Column("Serial", linkify=lambda record: reverse("equipment:instrument", args=[record.pk]))
    kind = tables.Column("Kind")
    range_low = QuantityColumn(Dimension.PRESSURE, "From", order_by=("range_low_si",))
    range_high = QuantityColumn(Dimension.PRESSURE, "To", order_by=("range_high_si",))
    accuracy_percent = tables.Column(
        "Accuracy, % of full scale", attrs={"th": {"class": "num"}, "td": {"class": "num"}}
    )
    calibration = tables.Column("Calibration", accessor="calibration_due_on", empty_values=())
    calibration_due_on = DayColumn("Due")
    certificate_number = tables.Column("Certificate")

    class Meta:
        empty_text = "No instrument passes this filter. Register the gauge or recorder the next test is read from."
        default = "–"

    def render_accuracy_percent(self, value: Any) -> str:
        """Return the figure without zeros at its end."""
        return f"{value.normalize():f}"

    def render_calibration(self, record: Instrument) -> SafeString:
        """Return how the calibration stands, in words."""
        if record.retired_on:
            return state("out-of-service")
        found = expiry_on(self.today, due=record.calibration_due_on) if self.today else None
        return state(found.state, found.words) if found else state("unknown")

    def value_calibration(self, record: Instrument) -> str:
        """Return the same for an export."""
        if record.retired_on:
            return "Out of service"
        return expiry_on(self.today, due=record.calibration_due_on).words if self.today else ""
